//! The one table of what each phase does with everything that is not an answer. Whoever adds a phase or an event fills in a row or a column:
//! the walker looks here and nowhere else. DEVELOPERS.md shows the table; a test prints it and walks every cell.

use super::phase_kind::PhaseKind;
use crate::phrase::Command::{self, *};

/// What may be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hears {
    /// The step's own answers.
    Answers,
    /// The [controls](Row::controls) of the phase.
    Controls,
    /// What is neither good nor bad: "not sure", "can't reach it".
    Escapes,
    /// The same as a reason for leaving a check out.
    Reasons,
    /// The sums that can be asked for.
    Sums,
    /// "Yes" and "no".
    YesNo,
    /// "Ready".
    Ready,
    /// Anything, kept as a note.
    Note,
    /// A new value of the reading that is amended.
    Amended,
    /// A sum's next input.
    Input,
}

/// How long silence may last before it is asked about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnSilence {
    /// As long as the work of the step takes.
    StepTime,
    /// As long as an answer takes.
    OtherTime,
    /// For ever.
    Patient,
}

/// What the pedal for "listen" means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnPedal {
    /// Nothing, and that for "say it again" neither.
    Nothing,
    /// Enough was said: listen now. A caution is heard to its end.
    Listens,
    /// "Carry on".
    CarriesOn,
    /// "Power is off" where that is asked for, else "carry on".
    PowerOff,
}

/// What an utterance leads to that was not understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnMiss {
    /// Nothing: who waits is silent.
    Silent,
    /// The question again; then its explanation; then its answers by name.
    Explains,
    /// What was asked back once more; then the step's question.
    AsksBack,
    /// The same words again.
    Repeats,
}

/// What two utterances of somebody else within a short time lead to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnStrangers {
    /// A pause.
    Waits,
    /// Each is a miss.
    Miss,
}

/// What a clock that was set back leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnClock {
    /// It is told.
    Told,
    /// It is told, and listened as before.
    ToldAndListens,
    /// It is told, and the walk waits.
    Waits,
}

/// What follows once the microphone is back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnMicrophone {
    /// It is told.
    Told,
    /// What was asked is said again.
    Repeats,
    /// The power is asked about.
    PowerOff,
}

/// What follows once the loudspeaker is back, of cautions that could only be printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnLoudspeaker {
    /// They are said where they come again.
    Later,
    /// The one at hand is said.
    ThisCaution,
    /// Those of the step are said.
    StepsCautions,
    /// The guard speaks, where it has asked.
    Guard,
}

/// What a signal from outside leads to, the first time; the second time the walk ends at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnStop {
    /// The last words.
    Ends,
    /// The last words, once what is being written is on disk or has failed.
    AfterTheRecord,
    /// Nothing: the last words are being said.
    Nothing,
    /// The end at once.
    AtOnce,
}

/// What a record leads to that could not be written, where the walk does not wait for just that one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnFailure {
    /// It is told, and the phase stays as it is.
    Told,
    /// It is told, and the walk waits.
    Waits,
}

/// What the guard over hot coils does when it is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnHeat {
    /// Nothing.
    Nothing,
    /// It speaks, after a moment; nobody is listened to.
    Shortly,
    /// It speaks, and listens.
    Speaks,
    /// It speaks; where the step wants the power on, the walk waits.
    SpeaksOrWaits,
}

/// Where a walk goes on that was started again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnResumed {
    /// With what it waits for.
    StaysBusy,
    /// With what an interruption left open, else with the step's question.
    GoesOn,
    /// It asks for "carry on".
    AsksForStorage,
    /// With its last words, unless it was stopped.
    Closes,
    /// With the guard, unless it was stopped.
    Guards,
}

/// One phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// Which.
    pub phase: PhaseKind,
    /// What may be said, in this order.
    pub hears: &'static [Hears],
    /// Controls that count.
    pub controls: &'static [Command],
    /// Silence.
    pub silence: OnSilence,
    /// A watched event that is not reported is asked about.
    pub watch: bool,
    /// The pedal.
    pub pedal: OnPedal,
    /// An utterance that was not understood.
    pub miss: OnMiss,
    /// Somebody else is talking.
    pub strangers: OnStrangers,
    /// A clock that was set back.
    pub clock: OnClock,
    /// The microphone is back.
    pub microphone: OnMicrophone,
    /// The loudspeaker is back.
    pub loudspeaker: OnLoudspeaker,
    /// A signal from outside.
    pub stop: OnStop,
    /// Another record that failed.
    pub failure: OnFailure,
    /// Hot coils.
    pub heat: OnHeat,
    /// The program was started again.
    pub resumed: OnResumed,
}

const AT_A_STEP: &[Command] = &[
    Repeat,
    Help,
    Back,
    Skip,
    Pause,
    Correct,
    LastReading,
    Where,
    Suspects,
    Note,
    Shorter,
    Longer,
    Louder,
    Quieter,
    Stop,
];
const BEFORE_A_STEP: &[Command] =
    &[Repeat, Help, Back, Skip, Pause, LastReading, Where, Suspects, Note, Shorter, Longer, Louder, Quieter, Stop];
const AT_A_NUMBER: &[Command] = &[Repeat, Back, Stop];
const IN_A_PAUSE: &[Command] = &[Resume, Stop, Where, LastReading, Repeat];

/// Something is asked.
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

/// The question of a step, or what has to be agreed before it.
const STEP: Row =
    Row { strangers: OnStrangers::Waits, loudspeaker: OnLoudspeaker::StepsCautions, controls: AT_A_STEP, ..OPEN };

/// Something else than a person is waited for.
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

/// A person is waited for, however long it takes.
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
        phase: PhaseKind::Confirming,
        hears: &[Hears::Answers, Hears::Controls, Hears::YesNo],
        miss: OnMiss::AsksBack,
        ..STEP
    },
    Row { phase: PhaseKind::Doubting, hears: &[Hears::Answers, Hears::Controls, Hears::YesNo], ..STEP },
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
    Row { phase: PhaseKind::Waiting, pedal: OnPedal::PowerOff, ..PATIENT },
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
