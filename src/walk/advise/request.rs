//! Requests that are answered later, and answers that are accepted only for their own request.

use serde::{Deserialize, Serialize};

/// The id of a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Request(u64);

impl Request {
    /// The request with this number. The caller must not use a number twice.
    pub fn new(number: u64) -> Self {
        Self(number)
    }
}

/// The answer to a request. Only a caller that names the open request can read it, so a late answer is never accepted for another request.
///
/// ```
/// use probeside::walk::{Answered, Request};
/// let (first, second) = (Request::new(1), Request::new(2));
/// assert_eq!(Answered::to(first, "late").for_request(Some(second)), None);
/// assert_eq!(Answered::to(second, "in time").for_request(Some(second)), Some("in time"));
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answered<T> {
    id: Request,
    // Older journals store the answer under the event's own name.
    #[serde(alias = "weighed", alias = "chosen")]
    answer: T,
}

impl<T> Answered<T> {
    /// The answer to a request.
    pub fn to(request: Request, answer: T) -> Self {
        Self { id: request, answer }
    }

    /// The request that it answers.
    pub fn request(&self) -> Request {
        self.id
    }

    /// The answer if it belongs to the open request. Otherwise it is dropped and traced.
    pub fn for_request(self, open: Option<Request>) -> Option<T> {
        if open == Some(self.id) {
            return Some(self.answer);
        }
        tracing::warn!(answered = self.id.0, ?open, "an answer that nobody waits for any more is dropped");
        None
    }
}
