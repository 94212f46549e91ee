//! Why a bucket cannot be used, and what to do about it.
//!
//! What the other side answered is never passed on word for word: some stores repeat the access key
//! or the signed text in it.

use axum::http::StatusCode;

use super::line::Turned;

/// Why a bucket cannot be used. Nothing is lost by it: what is not there yet stays in the folder.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BucketFault {
    /// There is nothing under that name: no fault, but for whoever asked.
    #[error("the bucket has no such object")]
    Absent,
    /// It cannot be reached, or answers with something else than it should.
    #[error("the bucket {bucket} cannot be used: {reason}")]
    Unreachable {
        /// Its name.
        bucket: String,
        /// How so.
        reason: String,
    },
    /// The access keys are not let in, or may not do this.
    #[error("the bucket {bucket} does not let these access keys do this")]
    Denied {
        /// Its name.
        bucket: String,
    },
    /// There is none of that name.
    #[error("there is no bucket {bucket} at that endpoint")]
    NoBucket {
        /// Its name.
        bucket: String,
    },
    /// Something else was put under the name while it was read.
    #[error("what is in the bucket {bucket} was put anew while it was read")]
    PutAnew {
        /// Its name.
        bucket: String,
    },
    /// No keys were given.
    #[error("attachments lie in a bucket, and its access keys are not in the environment")]
    NoKeys,
    /// This machine lacks something.
    #[error("the bucket cannot be asked from here: {reason}")]
    Here {
        /// What.
        reason: String,
    },
}

impl BucketFault {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Absent => "merge with a device that has it",
            Self::Unreachable { .. } => {
                "check the endpoint and the network; nothing is lost, and it is tried again"
            }
            Self::Denied { .. } => {
                "check GUYLINE_BUCKET_KEY_ID and GUYLINE_BUCKET_SECRET, and that they may list, \
                 read and write there; nothing is lost, and it is tried again"
            }
            Self::NoBucket { .. } => {
                "make the bucket, or correct its name; nothing is lost, and it is tried again"
            }
            Self::PutAnew { .. } => "try again",
            Self::NoKeys => {
                "put them into GUYLINE_BUCKET_KEY_ID and GUYLINE_BUCKET_SECRET, and try again"
            }
            Self::Here { .. } => "check this machine's certificates and limits, and start again",
        }
    }
}

/// What was asked for: what is missing means something else for each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asked {
    /// One object, which may be missing.
    OfOne,
    /// The bucket itself.
    OfAll,
}

/// What an answer comes to.
pub(super) fn fault_of(bucket: &str, asked: Asked, error: &object_store::Error) -> BucketFault {
    use object_store::Error;
    let bucket = bucket.to_owned();
    match turned(error) {
        Some(StatusCode::NOT_FOUND) => return BucketFault::NoBucket { bucket },
        Some(_) => return BucketFault::Denied { bucket },
        None => {}
    }
    match error {
        Error::NotFound { .. } if asked == Asked::OfOne => BucketFault::Absent,
        Error::NotFound { .. } => BucketFault::NoBucket { bucket },
        Error::Precondition { .. } => BucketFault::PutAnew { bucket },
        other => BucketFault::Unreachable { bucket, reason: reason(other) },
    }
}

/// The status of an answer that turned us away, somewhere in what the library made of it.
fn turned(error: &(dyn std::error::Error + 'static)) -> Option<StatusCode> {
    let mut looked = Some(error);
    while let Some(error) = looked {
        if let Some(Turned(status)) = error.downcast_ref() {
            return Some(*status);
        }
        looked = error.source();
    }
    None
}

/// The innermost reason, without what the other side answered: that begins at its first markup.
fn reason(error: &dyn std::error::Error) -> String {
    let mut innermost = error;
    while let Some(source) = innermost.source() {
        innermost = source;
    }
    let said = innermost.to_string();
    let own = said.split(['<', '{']).next().unwrap_or_default();
    own.trim_end_matches([':', ' ']).to_owned()
}
