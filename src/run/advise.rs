//! Advice for a walk: who gives it, and what the walker is told when it asks.

use crate::circuit::faults::Library;
use crate::diagnose::Adviser;
use crate::walk::{Advice, Answered, Effect, Event, Walker, World};
use std::sync::Arc;

/// Who says what is left, and in best order what comes next; nobody, with a sentence, where the faults do not fit the bike.
pub fn adviser(world: &Arc<World>, library: Library, best: bool) -> Option<Box<dyn Advice>> {
    let started = match best {
        true => Adviser::start(world, library.clone()).and_then(|adviser| adviser.in_best_order(world, library)),
        false => Adviser::start(world, library),
    };
    match started {
        Ok(adviser) => Some(Box::new(adviser)),
        Err(why) => {
            let order = if best { ", and in the written order" } else { "" };
            crate::terminal::errln!("This walk goes without advice on what is left{order}: {why}");
            None
        }
    }
}

/// A walker that asks for what it is to be told.
pub fn walker(world: &Arc<World>, advised: bool, best: bool) -> Walker {
    let walker = Walker::new(world.clone());
    let walker = if advised { walker.advised() } else { walker };
    if best { walker.in_best_order() } else { walker }
}

/// What the walker is told when it asks for advice by `effect`; nothing for any other.
pub fn told(advice: &mut Option<Box<dyn Advice>>, walker: &Walker, effect: &Effect) -> Option<Event> {
    let observed = || walker.observed();
    match effect {
        Effect::Weigh { id } => {
            let weighed = advice.as_mut().map(|advice| advice.weigh(&observed())).unwrap_or_default();
            Some(Event::Weighed(Answered::to(*id, weighed)))
        }
        Effect::Choose { id } => {
            let choose = |advice: &mut Box<dyn Advice>| Some(advice.choose(&walker.crossing()?, &observed()));
            let chosen = advice.as_mut().and_then(choose).unwrap_or_default();
            Some(Event::Chosen(Answered::to(*id, chosen)))
        }
        _ => None,
    }
}

/// What a walker still waits for whose journal breaks off before it was told.
pub fn late(advice: &mut Option<Box<dyn Advice>>, walker: &Walker) -> Option<Event> {
    let weigh = walker.waits_for_advice().map(|id| Effect::Weigh { id });
    let effect = weigh.or(walker.waits_for_choice().map(|id| Effect::Choose { id }))?;
    told(advice, walker, &effect)
}
