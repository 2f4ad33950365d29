//! The driver's event sources.

use super::signals::Interrupts;
use crate::hear::EarEvent;
use crate::session::Reply;
use crate::speak::MouthEvent;
use tokio::sync::mpsc::UnboundedReceiver;

/// The driver's event sources.
pub struct Sources {
    /// From the ears.
    pub ears: UnboundedReceiver<EarEvent>,
    /// From the mouth.
    pub mouth: UnboundedReceiver<MouthEvent>,
    /// From the journal's thread.
    pub stored: UnboundedReceiver<Reply>,
    /// From outside.
    pub interrupts: Interrupts,
}
