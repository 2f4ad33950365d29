//! Requests that are answered later, and answers that can only be taken for the request they belong to.

use serde::{Deserialize, Serialize};

/// The id of something that was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Request(u64);

impl Request {
    /// The request with this number. Whoever hands out numbers gives no two requests the same.
    pub fn new(number: u64) -> Self {
        Self(number)
    }
}

/// What came of a request. It can only be looked at by who names the request that is open: what comes late is not taken for another's.
///
/// ```
/// use probeside::walk::{Answered, Request};
/// let (first, second) = (Request::new(1), Request::new(2));
/// assert_eq!(Answered::to(first, "late").taken_for(Some(second)), None);
/// assert_eq!(Answered::to(second, "in time").taken_for(Some(second)), Some("in time"));
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answered<T> {
    id: Request,
    // Journals of before have the answer under the event's own name.
    #[serde(alias = "weighed", alias = "chosen")]
    answer: T,
}

impl<T> Answered<T> {
    /// The answer to a request.
    pub fn to(request: Request, answer: T) -> Self {
        Self { id: request, answer }
    }

    /// The request that it belongs to.
    pub fn request(&self) -> Request {
        self.id
    }

    /// The answer, if it belongs to the request that is open; else it is dropped, with a trace.
    pub fn taken_for(self, open: Option<Request>) -> Option<T> {
        if open == Some(self.id) {
            return Some(self.answer);
        }
        tracing::warn!(answered = self.id.0, ?open, "an answer that nobody waits for any more is dropped");
        None
    }
}
