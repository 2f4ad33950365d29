//! The one table of what each phase does with every event that is not an answer. A new phase needs a row, a new kind of event a column; the
//! walker consults nothing else. DEVELOPERS.md shows the table; a test prints it and exercises every cell.

use super::phase_kind::PhaseKind;
use crate::phrase::Command::{self, *};

/// What the user may say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hears {
    /// The step's own answers.
    Answers,
    /// The same, where the walk began to wait by itself.
    AnswersToOwnPause,
    /// The [controls](Row::controls) of the phase.
    Controls,
    /// Answers that are neither good nor bad: "not sure", "can't reach it".
    Escapes,
    /// The same escapes as reasons for skipping a check.
    Reasons,
    /// Requests for a sum.
    Sums,
    /// "Yes" and "no".
    YesNo,
    /// "Ready".
    Ready,
    /// Free text, stored as a note.
    Note,
    /// A new value for the reading that is being amended.
    Amended,
    /// A sum's next input.
    Input,
}

/// How long silence may last before the walker reacts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnSilence {
    /// The working time of the step.
    StepTime,
    /// The time that an answer takes.
    OtherTime,
    /// Unlimited.
    Patient,
}

/// What the "listen" pedal does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnPedal {
    /// Nothing; nor does the "repeat" pedal.
    Nothing,
    /// Cuts the prompt and listens now. A caution is heard to its end.
    Listens,
    /// Means "carry on".
    CarriesOn,
    /// Means "power is off" if the guard asked for it, otherwise "carry on".
    PowerOff,
}

/// Reaction to an utterance that was not understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnMiss {
    /// None: the walker stays silent while it waits.
    Silent,
    /// Lists the answers; the second time after the explanation, from the third on after the question.
    Explains,
    /// Repeats the confirmation once, then asks the step's question.
    AsksBack,
    /// Repeats the same words.
    Repeats,
}

/// Reaction to two utterances of strangers within a short time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnStrangers {
    /// The walk pauses.
    Waits,
    /// Each counts as not understood.
    Miss,
}

/// Reaction to a wall clock that was set back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnClock {
    /// The user is told.
    Told,
    /// The user is told, and listening goes on.
    ToldAndListens,
    /// The user is told, and the walk waits.
    Waits,
}

/// Reaction when the microphone is back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnMicrophone {
    /// The user is told.
    Told,
    /// The question is repeated.
    Repeats,
    /// The guard asks about the power.
    PowerOff,
}

/// What happens, once the loudspeaker is back, to cautions that could only be printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnLoudspeaker {
    /// They are spoken when they come up again.
    Later,
    /// The current caution is spoken.
    ThisCaution,
    /// Clears the "go back" history and returns a copy, for trying what would come next.
    StepsCautions,
    /// The guard speaks if it has asked before.
    Guard,
}

/// Reaction to the first signal from outside. The second ends the walk at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnStop {
    /// The closing words are said.
    Ends,
    /// The closing words are said once the pending record is on disk or has failed.
    AfterTheRecord,
    /// None: the closing words are already being said.
    Nothing,
    /// The walk ends at once.
    AtOnce,
}

/// Reaction to a record that could not be written and that the walk does not wait for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnFailure {
    /// The user is told; the phase does not change.
    Told,
    /// The user is told, and the walk waits.
    Waits,
}

/// What the guard over hot coils does when it is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnHeat {
    /// Nothing.
    Nothing,
    /// It speaks after a short delay and does not listen.
    Shortly,
    /// It speaks and listens.
    Speaks,
    /// It speaks; if the step needs the power on, the walk waits.
    SpeaksOrWaits,
}

/// Where a restarted walk goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnResumed {
    /// It keeps waiting for the pending request, unless that was the stop itself.
    StaysBusy,
    /// It continues with what an interruption left open, otherwise with the step's question.
    GoesOn,
    /// It asks for "carry on".
    AsksForStorage,
    /// It says the closing words, unless it was stopped.
    Closes,
    /// The guard continues, unless the walk was stopped.
    Guards,
}

/// One phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// The phase.
    pub phase: PhaseKind,
    /// What the user may say, in this order.
    pub hears: &'static [Hears],
    /// Controls that are accepted.
    pub controls: &'static [Command],
    /// Reaction to silence.
    pub silence: OnSilence,
    /// Whether the walker asks about a watched event that is not reported.
    pub watch: bool,
    /// Reaction to the pedal.
    pub pedal: OnPedal,
    /// Reaction to an utterance that was not understood.
    pub miss: OnMiss,
    /// Reaction to strangers.
    pub strangers: OnStrangers,
    /// Reaction to a wall clock that was set back.
    pub clock: OnClock,
    /// Reaction when the microphone is back.
    pub microphone: OnMicrophone,
    /// Reaction when the loudspeaker is back.
    pub loudspeaker: OnLoudspeaker,
    /// Reaction to a signal from outside.
    pub stop: OnStop,
    /// Reaction to a failed record that the walk does not wait for.
    pub failure: OnFailure,
    /// Reaction to hot coils.
    pub heat: OnHeat,
    /// Reaction to a restart of the program.
    pub resumed: OnResumed,
}

const AT_A_STEP: &[Command] = &[
    Correct,
    Repeat,
    Help,
    Back,
    Skip,
    Pause,
    LastReading,
    Where,
    Suspects,
    WhyThis,
    WhatFollows,
    Note,
    Shorter,
    Longer,
    Louder,
    Quieter,
    AwaitParts,
    Stop,
    Already,
];
/// The same without `Correct`, which amends the reading at hand.
const BEFORE_A_STEP: &[Command] = AT_A_STEP.split_at(1).1;
/// The same without `Already`: an answer was given.
const ABOUT_AN_ANSWER: &[Command] = AT_A_STEP.split_at(AT_A_STEP.len() - 1).0;
/// Where the walker asks for what was done before.
const AT_WHAT_IS_TOLD: &[Command] = &[Repeat, Help, Back, Pause, Stop];
const AT_A_NUMBER: &[Command] = &[Repeat, Back, Stop];
const IN_A_PAUSE: &[Command] = &[Resume, Stop, Where, LastReading, Repeat];

/// A question is open.
const OPEN: Row = Row {
    phase: PhaseKind::Asking,
    hears: &[],
    controls: &[],
    silence: OnSilence::OtherTime,
    watch: false,
    pedal: OnPedal::Listens,
    miss: OnMiss::Repeats,
    strangers: OnStrangers::Miss,
    clock: OnClock::Waits,
    microphone: OnMicrophone::Repeats,
    loudspeaker: OnLoudspeaker::Later,
    stop: OnStop::Ends,
    failure: OnFailure::Waits,
    heat: OnHeat::SpeaksOrWaits,
    resumed: OnResumed::GoesOn,
};

/// A step's question, or what must be agreed before it.
const STEP: Row =
    Row { strangers: OnStrangers::Waits, loudspeaker: OnLoudspeaker::StepsCautions, controls: AT_A_STEP, ..OPEN };

/// The walker waits for something other than the user.
const BUSY: Row = Row {
    silence: OnSilence::Patient,
    pedal: OnPedal::Nothing,
    clock: OnClock::Told,
    microphone: OnMicrophone::Told,
    failure: OnFailure::Told,
    heat: OnHeat::Shortly,
    resumed: OnResumed::StaysBusy,
    ..OPEN
};

/// The walker waits for the user without a time limit.
const PATIENT: Row = Row {
    hears: &[Hears::Controls],
    controls: IN_A_PAUSE,
    silence: OnSilence::Patient,
    miss: OnMiss::Silent,
    clock: OnClock::ToldAndListens,
    loudspeaker: OnLoudspeaker::Guard,
    failure: OnFailure::Told,
    heat: OnHeat::Speaks,
    ..OPEN
};

const TABLE: [Row; PhaseKind::ALL.len()] = [
    Row { phase: PhaseKind::Idle, resumed: OnResumed::GoesOn, ..BUSY },
    Row {
        phase: PhaseKind::Caution,
        hears: &[Hears::Ready, Hears::Controls],
        controls: BEFORE_A_STEP,
        loudspeaker: OnLoudspeaker::ThisCaution,
        ..STEP
    },
    Row { phase: PhaseKind::Restate, hears: &[Hears::Ready, Hears::Controls], controls: BEFORE_A_STEP, ..STEP },
    Row {
        phase: PhaseKind::Asking,
        hears: &[Hears::Answers, Hears::Controls, Hears::Escapes, Hears::Sums],
        silence: OnSilence::StepTime,
        watch: true,
        miss: OnMiss::Explains,
        ..STEP
    },
    Row {
        phase: PhaseKind::Telling,
        hears: &[Hears::Answers, Hears::Controls],
        controls: AT_WHAT_IS_TOLD,
        miss: OnMiss::Explains,
        ..STEP
    },
    Row { phase: PhaseKind::Undoing, hears: &[Hears::Ready, Hears::Controls], controls: AT_WHAT_IS_TOLD, ..STEP },
    Row {
        phase: PhaseKind::Confirming,
        hears: &[Hears::Answers, Hears::Controls, Hears::YesNo],
        controls: ABOUT_AN_ANSWER,
        miss: OnMiss::AsksBack,
        ..STEP
    },
    Row {
        phase: PhaseKind::Doubting,
        hears: &[Hears::Answers, Hears::Controls, Hears::YesNo],
        controls: ABOUT_AN_ANSWER,
        ..STEP
    },
    Row { phase: PhaseKind::Writing, stop: OnStop::AfterTheRecord, ..BUSY },
    Row { phase: PhaseKind::Weighing, ..BUSY },
    Row { phase: PhaseKind::Choosing, ..BUSY },
    Row {
        phase: PhaseKind::Offering,
        hears: &[Hears::YesNo, Hears::Controls],
        controls: &[Repeat, Suspects, Stop],
        ..OPEN
    },
    Row {
        phase: PhaseKind::SkipWhy,
        hears: &[Hears::Note, Hears::Reasons, Hears::Controls],
        controls: &[Stop],
        ..OPEN
    },
    Row { phase: PhaseKind::Noting, hears: &[Hears::Note, Hears::Controls], controls: &[Stop], ..OPEN },
    Row { phase: PhaseKind::Reckoning, hears: &[Hears::Input, Hears::Controls], controls: AT_A_NUMBER, ..OPEN },
    Row { phase: PhaseKind::Correcting, hears: &[Hears::Amended, Hears::Controls], controls: AT_A_NUMBER, ..OPEN },
    Row {
        phase: PhaseKind::Waiting,
        hears: &[Hears::AnswersToOwnPause, Hears::Controls],
        pedal: OnPedal::PowerOff,
        ..PATIENT
    },
    Row { phase: PhaseKind::StopConfirm, hears: &[Hears::YesNo], ..OPEN },
    Row {
        phase: PhaseKind::Stuck,
        pedal: OnPedal::CarriesOn,
        miss: OnMiss::Repeats,
        resumed: OnResumed::AsksForStorage,
        ..PATIENT
    },
    Row { phase: PhaseKind::Closing, stop: OnStop::Nothing, resumed: OnResumed::Closes, ..BUSY },
    Row {
        phase: PhaseKind::Guarding,
        controls: &[Repeat],
        pedal: OnPedal::PowerOff,
        microphone: OnMicrophone::PowerOff,
        stop: OnStop::AtOnce,
        resumed: OnResumed::Guards,
        ..PATIENT
    },
    Row { phase: PhaseKind::Over, heat: OnHeat::Nothing, stop: OnStop::Nothing, resumed: OnResumed::GoesOn, ..BUSY },
];

/// The row of a phase.
pub fn row(phase: PhaseKind) -> &'static Row {
    &TABLE[phase as usize]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_phase_has_its_row() {
        for (at, phase) in PhaseKind::ALL.into_iter().enumerate() {
            assert_eq!((phase as usize, row(phase).phase), (at, phase));
        }
    }
}
