//! Whose sessions are whose.

use peakorder_protocol::session::Player;
use std::collections::HashMap;

/// Sessions of one person each, in the order in which they come. Those with one id are one person's; one without an id goes
/// to the first person who has its name, without regard to case.
pub(super) fn persons<T>(sessions: Vec<T>, player: impl Fn(&T) -> &Player) -> Vec<Vec<T>> {
    let name = |p: &Player| p.name.trim().to_lowercase();
    let mut persons: Vec<Vec<(usize, T)>> = Vec::new();
    let mut by_id: HashMap<String, usize> = HashMap::new();
    let mut by_name: HashMap<String, usize> = HashMap::new();
    // Those with an id first: a session without one goes to who has its name among them.
    let (with_id, without): (Vec<_>, Vec<_>) =
        sessions.into_iter().enumerate().partition(|(_, s)| player(s).id.is_some());
    for (at, session) in with_id {
        let who = player(&session);
        let number = *by_id.entry(who.id.clone().unwrap_or_default()).or_insert(persons.len());
        let first = by_name.entry(name(who)).or_insert(number);
        *first = number.min(*first);
        if number == persons.len() {
            persons.push(Vec::new());
        }
        persons[number].push((at, session));
    }
    for (at, session) in without {
        let number = *by_name.entry(name(player(&session))).or_insert(persons.len());
        if number == persons.len() {
            persons.push(Vec::new());
        }
        persons[number].push((at, session));
    }
    for person in &mut persons {
        person.sort_by_key(|(at, _)| *at);
    }
    persons.sort_by_key(|person| person[0].0);
    persons.into_iter().map(|person| person.into_iter().map(|(_, session)| session).collect()).collect()
}

/// The person who is called `asked`: who is called so now comes before who once was.
pub(super) fn called<T>(persons: &[Vec<T>], asked: &str, player: impl Fn(&T) -> &Player) -> Option<usize> {
    let asked = asked.trim().to_lowercase();
    let named = |s: &T| player(s).name.trim().to_lowercase() == asked;
    persons
        .iter()
        .position(|p| p.last().is_some_and(named))
        .or_else(|| persons.iter().position(|p| p.iter().any(named)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// As the rule says it, one by one.
    fn slowly(sessions: Vec<Player>) -> Vec<Vec<Player>> {
        let (with, without): (Vec<_>, Vec<_>) =
            sessions.into_iter().enumerate().partition(|(_, p)| p.id.is_some());
        let mut persons: Vec<Vec<(usize, Player)>> = Vec::new();
        for (at, player) in with.into_iter().chain(without) {
            match persons.iter_mut().find(|p| p.iter().any(|(_, o)| o.same_as(&player))) {
                Some(person) => person.push((at, player)),
                None => persons.push(vec![(at, player)]),
            }
        }
        for person in &mut persons {
            person.sort_by_key(|(at, _)| *at);
        }
        persons.sort_by_key(|p| p[0].0);
        persons.into_iter().map(|p| p.into_iter().map(|(_, player)| player).collect()).collect()
    }

    proptest! {
        #[test]
        fn persons_are_those_of_the_rule(
            sessions in proptest::collection::vec((proptest::option::of(0..4u8), 0..4u8), 0..14)
        ) {
            let sessions: Vec<Player> = sessions
                .into_iter()
                .map(|(id, name)| Player {
                    id: id.map(|i| i.to_string()),
                    name: [" Ann", "ann", "BOB ", "Cee"][name as usize].into(),
                    ..Player::default()
                })
                .collect();
            prop_assert_eq!(persons(sessions.clone(), |p| p), slowly(sessions));
        }
    }
}
