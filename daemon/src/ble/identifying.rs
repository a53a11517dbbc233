//! Which strap is worn where, found by twisting one after the other. Used by the command and by the page.

use super::finding::AllHeard;
use super::radio::Radio;
use super::setup::Setup;
use super::straps::{IncomingKind, SessionClock, StrapTarget, Straps};
use super::turning::{Turned, Turning};
use peakorder_analysis::words;
use peakorder_motion::stream::StrapStream;
use peakorder_protocol::Role;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

/// Looking for straps takes this long.
pub const LOOK: Duration = Duration::from_secs(5);
/// Twisting is judged over this long.
const WINDOW: Duration = Duration::from_secs(4);
/// All straps must stream within this time; who does not is left out.
const GATHER: Duration = Duration::from_secs(30);

/// What happens while straps are told apart.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    /// Nothing comes in from these.
    Silent(Vec<String>),
    /// The strap worn there is to be twisted now.
    Twist(Role),
    /// Two have turned: ids and degrees of path.
    Unclear {
        /// The segment that was asked for.
        role: Role,
        /// Both straps.
        straps: [(String, f64); 2],
    },
    /// This one was twisted.
    Found(Placed),
    /// What a strap's link says.
    Strap {
        /// Its id.
        id: String,
        /// In words.
        text: String,
    },
}

/// A strap that has its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placed {
    /// Where it is worn.
    pub role: Role,
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its profile.
    pub profile: String,
}

/// Why straps were not told apart. Nothing was changed then.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotIdentified {
    /// Not enough straps are on the air.
    #[error(
        "{heard} strap(s) heard, {needed} needed: switch all straps on, charge them, close phone apps that hold them"
    )]
    TooFew {
        /// Heard.
        heard: usize,
        /// Needed.
        needed: usize,
    },
    /// No strap was twisted in time.
    #[error("no strap was clearly twisted for the {0}; nothing was changed")]
    NotTwisted(Role),
    /// It was stopped.
    #[error("stopped; nothing was changed")]
    Stopped,
    /// All links are gone.
    #[error("no strap is left; nothing was changed")]
    NoneLeft,
}

/// Ends it early.
pub type Stop = Pin<Box<dyn Future<Output = ()> + Send>>;

/// A strap that may be the one.
struct Candidate {
    id: String,
    name: String,
    wanted: StrapTarget,
}

struct Identifying<'a, F> {
    candidates: Vec<Candidate>,
    streams: Vec<StrapStream>,
    turning: Turning,
    straps: Straps,
    stop: Stop,
    say: &'a mut F,
}

/// Asks for a twist of each strap worn at `roles`, in that order, `limit` for each; `say` is told what happens.
pub async fn identify(
    radio: &Radio,
    setup: &Setup,
    heard: AllHeard,
    roles: &[Role],
    limit: Duration,
    stop: Stop,
    say: &mut impl FnMut(Step),
) -> Result<Vec<Placed>, NotIdentified> {
    let candidates: Vec<Candidate> = heard
        .into_values()
        .filter_map(|(heard, _)| {
            let known = setup.profiles.get(heard.profile.as_deref()?)?;
            let wanted = StrapTarget { id: heard.id.clone(), profile: Arc::clone(&known.profile) };
            Some(Candidate { id: heard.id, name: heard.name, wanted })
        })
        .collect();
    if candidates.len() < roles.len() {
        return Err(NotIdentified::TooFew { heard: candidates.len(), needed: roles.len() });
    }
    let targets = candidates.iter().map(|c| c.wanted.clone()).collect();
    let mut identifying = Identifying {
        streams: candidates.iter().map(|c| StrapStream::unaligned(&c.wanted.profile)).collect(),
        turning: Turning::new(candidates.len()),
        straps: Straps::start(radio, targets, SessionClock::start()),
        candidates,
        stop,
        say,
    };
    let placed = identifying.ask(roles, limit).await;
    identifying.straps.close().await;
    placed
}

impl<F: FnMut(Step)> Identifying<'_, F> {
    fn streaming(&self, strap: usize) -> bool {
        self.streams[strap].counts().samples > 0
    }

    async fn ask(&mut self, roles: &[Role], limit: Duration) -> Result<Vec<Placed>, NotIdentified> {
        let all = self.candidates.len();
        self.gather(GATHER, |me| (0..all).all(|i| me.streaming(i))).await?;
        let silent: Vec<String> =
            (0..all).filter(|i| !self.streaming(*i)).map(|i| self.candidates[i].id.clone()).collect();
        if !silent.is_empty() {
            (self.say)(Step::Silent(silent));
        }
        let mut left: Vec<usize> = (0..all).collect();
        let mut placed = Vec::new();
        for role in roles {
            (self.say)(Step::Twist(*role));
            let found = self.twisted(*role, &left, limit).await?;
            left.retain(|i| *i != found);
            let strap = &self.candidates[found];
            let profile = strap.wanted.profile.id().to_owned();
            let one = Placed { role: *role, id: strap.id.clone(), name: strap.name.clone(), profile };
            (self.say)(Step::Found(one.clone()));
            placed.push(one);
        }
        Ok(placed)
    }

    /// The one of `left` that is twisted for `role`.
    async fn twisted(&mut self, role: Role, left: &[usize], limit: Duration) -> Result<usize, NotIdentified> {
        let deadline = tokio::time::Instant::now() + limit;
        loop {
            self.turning.clear();
            self.gather(WINDOW, |_| false).await?;
            match self.turning.judge(|i| left.contains(&i)) {
                Turned::One(i) => return Ok(i),
                Turned::None => {}
                Turned::Unclear(a, b) => {
                    let one = |i: usize| (self.candidates[i].id.clone(), self.turning.path_deg(i));
                    let straps = [one(a), one(b)];
                    (self.say)(Step::Unclear { role, straps });
                }
            }
            if tokio::time::Instant::now() >= deadline {
                return Err(NotIdentified::NotTwisted(role));
            }
        }
    }

    /// Takes in what comes for `length`, or until `enough`.
    async fn gather(
        &mut self,
        length: Duration,
        enough: impl Fn(&Self) -> bool,
    ) -> Result<(), NotIdentified> {
        let end = tokio::time::sleep(length);
        tokio::pin!(end);
        let mut items = Vec::new();
        while !enough(self) {
            tokio::select! {
                () = &mut end => return Ok(()),
                () = &mut self.stop => return Err(NotIdentified::Stopped),
                more = self.straps.receive(&mut items) => if !more { return Err(NotIdentified::NoneLeft) },
            }
            for item in items.drain(..) {
                let stream = &mut self.streams[item.strap];
                if item.pass_to(stream) {
                    self.turning.look(item.strap, stream.received().samples);
                }
                let text = match item.kind {
                    IncomingKind::Status(what) => words::strap::event(&what),
                    IncomingKind::GivenUp(text) => text,
                    IncomingKind::Packet { .. } | IncomingKind::Event(_) => continue,
                };
                (self.say)(Step::Strap { id: self.candidates[item.strap].id.clone(), text });
            }
        }
        Ok(())
    }
}
