//! What is on the screen, gathered from the updates.

use super::client::Update;
use peakorder_analysis::order::{Order, Share, shares};
use peakorder_analysis::words;
use peakorder_protocol::calibration::CalibrationStep;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::swing::Swing;
use serde_json::Value;
use std::fmt::Write as _;

/// What is shown.
#[derive(Debug, Default)]
pub struct Screen {
    /// Why the connection is lost; what is shown is then old.
    pub lost: Option<String>,
    /// The lesson.
    pub lesson: Option<Lesson>,
    /// Newest messages about straps and calibration, oldest first.
    pub messages: Vec<String>,
}

/// The lesson that is shown.
#[derive(Debug, Default)]
pub struct Lesson {
    /// Name of the player.
    pub player: String,
    /// The scenario is invented.
    pub invented: bool,
    /// It has ended.
    pub ended: bool,
    /// Label of the block.
    pub block: String,
    /// The guided movement that is going on.
    pub doing: Option<String>,
    /// The straps: where they are worn, and their status in words.
    pub straps: Vec<(String, String)>,
    /// All swings so far.
    pub swings: Vec<Swing>,
    /// The last swing's answer to the target, and its differences from the baseline.
    pub about_last: Vec<String>,
}

/// Differences from the baseline that are shown.
const DIFFERENCES: usize = 3;

/// What is known of a swing, from its answer and its measures against the baseline.
fn about(answer: &Value, against: &Value) -> Vec<String> {
    let spoken = text(&answer["spoken"]);
    let mut lines = Vec::new();
    if !spoken.is_empty() {
        lines.push(format!("target: {spoken}"));
    }
    let rows = against.as_array().map(Vec::as_slice).unwrap_or_default();
    let of = |verdict: &'static str| {
        rows.iter().filter(move |r| r["verdict"] == verdict).map(|r| text(&r["words"]))
    };
    let beyond = of("beyond_ordinary").count();
    lines.extend(of("beyond_ordinary").take(DIFFERENCES));
    if beyond > DIFFERENCES {
        lines.push(format!("and {} more", beyond - DIFFERENCES));
    } else if beyond == 0 && of("within_ordinary").next().is_some() {
        lines.push("nothing beyond ordinary variation".into());
    } else if beyond == 0 {
        lines.push("against the baseline: can't tell yet".into());
    }
    lines
}

/// Lines of [`Screen::messages`] kept.
const MESSAGES: usize = 6;

fn text(value: &Value) -> String {
    // Text from elsewhere must not control the terminal.
    value.as_str().unwrap_or("").chars().filter(|c| !c.is_control()).collect()
}

fn straps(value: &Value) -> Vec<(String, String)> {
    let list = value.as_array().map(Vec::as_slice).unwrap_or_default();
    list.iter()
        .map(|s| {
            let mut words = text(&s["words"]);
            if let Some(percent) = s["battery_percent"].as_f64() {
                let _ = write!(words, ", battery {percent:.0} %");
            }
            (text(&s["role"]).replace('_', " "), words)
        })
        .collect()
}

impl Lesson {
    fn of(value: &Value) -> Self {
        let swings = value["swings"].as_array().map(Vec::as_slice).unwrap_or_default();
        let last = swings.last().map_or(String::new(), |s| s["number"].to_string());
        Self {
            about_last: about(&value["answers"][&last], &value["against"][&last]),
            player: text(&value["player"]["name"]),
            invented: value["invented"].as_bool().unwrap_or(false),
            ended: false,
            block: text(&value["block"]),
            doing: value["doing"]["what"].as_str().map(|_| text(&value["doing"]["what"])),
            straps: straps(&value["straps"]),
            swings: swings.iter().filter_map(|s| serde_json::from_value(s.clone()).ok()).collect(),
        }
    }

    /// How often each order came in the block of the last swing, among usable strikes.
    pub fn tally(&self) -> (String, Vec<Share>) {
        let block = self.swings.last().map_or(String::new(), |s| s.block.clone());
        // What the coach says of swings and blocks is not shown here.
        let said = Remarks::default();
        let orders = self
            .swings
            .iter()
            .filter(|s| s.block == block && said.counts(s))
            .filter_map(|s| Order::of_peaks(&s.sequence));
        let shares = shares(orders);
        (block, shares)
    }
}

impl Screen {
    /// Applies an update.
    pub fn apply(&mut self, update: Update) {
        match update {
            Update::Lost(why) => {
                self.lost = Some(why.to_string().chars().filter(|c| !c.is_control()).collect());
            }
            Update::State(state) => {
                self.lost = None;
                let running = (!state["lesson"].is_null()).then(|| Lesson::of(&state["lesson"]));
                // The last lesson stays until another begins, marked as ended.
                match (running, &mut self.lesson) {
                    (Some(lesson), shown) => *shown = Some(lesson),
                    (None, Some(shown)) => shown.ended = true,
                    (None, None) => {}
                }
            }
            Update::Event(name, data) => self.event(&name, &data),
        }
    }

    fn event(&mut self, name: &str, data: &Value) {
        self.lost = None;
        match name {
            "strap" => {
                self.say(format!("{} strap: {}", text(&data["role"]).replace('_', " "), text(&data["text"])));
            }
            "calibration" => {
                let again = if data["ok"].as_bool() == Some(true) { "" } else { "again, because " };
                let step = serde_json::from_value(data["step"].clone()).map_or_else(
                    |_| text(&data["step"]),
                    |step: CalibrationStep| words::calibration::step(step).to_owned(),
                );
                self.say(format!("{step}: {again}{}", text(&data["text"])));
            }
            "problem" | "trouble" => self.say(text(&data["text"])),
            _ => {}
        }
        let Some(lesson) = &mut self.lesson else { return };
        match name {
            "straps" => lesson.straps = straps(data),
            "block" => lesson.block = text(&data["label"]),
            "doing" => lesson.doing = data["what"].as_str().map(|_| text(&data["what"])),
            "swing" => {
                lesson.swings.extend(serde_json::from_value::<Swing>(data["swing"].clone()).ok());
                lesson.about_last.clear();
                // Earlier messages are old now.
                self.messages.clear();
            }
            "swing_extra" if lesson.swings.last().is_some_and(|s| data["number"] == s.number) => {
                lesson.about_last = about(&data["answer"], &data["against"]);
            }
            "session_ended" => lesson.ended = true,
            _ => {}
        }
    }

    fn say(&mut self, line: String) {
        self.messages.push(line);
        if self.messages.len() > MESSAGES {
            self.messages.remove(0);
        }
    }
}
