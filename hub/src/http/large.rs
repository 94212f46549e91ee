//! What a browser elsewhere sends that is longer than a command: a photograph, a recording.
//!
//! In: a request of somebody who is let in and may ask it. Out: its whole body with a seat, or why
//! it is not taken; nothing of the body is read before that. The hub's memory stays bounded: few
//! have a seat at once, and a sender that stops is let go. What a body says it does not know.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::Request;
use axum::http::header::CONTENT_LENGTH;
use axum::http::{HeaderMap, StatusCode};
use guyline_core::language::say;
use http_body_util::BodyExt as _;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::timeout;

use super::router::{COMMAND_BYTES_MAX, Refused};
use crate::desk::{Code, Language, Refusal};

/// So many have a seat at once in the whole hub.
///
/// The longest is `ATTACHED_BYTES_MAX`, 36 MiB, and never held more than twice over: the body and
/// the text that is read out of it (36 + 36 MiB), then, the body let go, that text and the bytes
/// in it (36 + 27), then the photograph and what is kept of it (27 + 27). So all seats together
/// hold 3 × 72 = 216 MiB at the most.
const SEATS: usize = 3;
/// How long a sender is waited for: 15 s for each piece, and ten minutes for all of it, in which a
/// photograph of 5 MiB comes through at 100 kbit/s.
const PATIENCE: Patience =
    Patience { piece: Duration::from_secs(15), all: Duration::from_secs(600) };
/// The most values a body holds beside its long text.
const VALUES_MAX: usize = 100_000;
/// When a busy hub may be asked again.
const AGAIN: Duration = Duration::from_secs(10);

/// The seats of a hub. Clones are the same seats.
#[derive(Clone, Debug)]
pub(super) struct Seats {
    free: Arc<Semaphore>,
    patience: Patience,
}

/// How long a sender is waited for.
#[derive(Clone, Copy, Debug)]
struct Patience {
    piece: Duration,
    all: Duration,
}

/// A whole body, and the seat it has for as long as anything of it is held.
pub(super) struct Seated {
    pub(super) body: Vec<u8>,
    pub(super) seat: OwnedSemaphorePermit,
}

impl Seats {
    pub(super) fn new() -> Self {
        Self { free: Arc::new(Semaphore::new(SEATS)), patience: PATIENCE }
    }

    /// The body of a request, of at most so many bytes. Refusals are said in the language.
    pub(super) async fn seat(
        &self,
        request: Request,
        bytes_max: usize,
        language: Language,
    ) -> Result<Seated, Refused> {
        // Who does not say how much it is may send as much as is taken.
        let length = length(request.headers()).unwrap_or(bytes_max);
        if length > bytes_max {
            return Err(too_large(bytes_max, language));
        }
        let Ok(seat) = self.free.clone().try_acquire_owned() else { return Err(busy(language)) };
        let Patience { piece, all } = self.patience;
        let whole = timeout(all, read(request.into_body(), length, piece, language)).await;
        let body = whole.map_err(|_| too_slow(all, language))??;
        few_values(&body, language)?;
        Ok(Seated { body, seat })
    }
}

/// Whether a body takes a seat: it is longer than a command's, or may be.
pub(super) fn takes_seat(headers: &HeaderMap) -> bool {
    length(headers).is_none_or(|length| length > COMMAND_BYTES_MAX)
}

/// How long a body is, as its head says; the library sees to it that it is no longer.
fn length(headers: &HeaderMap) -> Option<usize> {
    headers.get(CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

async fn read(
    mut body: Body,
    bytes_max: usize,
    piece_within: Duration,
    language: Language,
) -> Result<Vec<u8>, Refused> {
    // All at once, or growing would hold it twice over.
    let mut whole = Vec::with_capacity(bytes_max);
    loop {
        let frame = timeout(piece_within, body.frame()).await;
        let frame = frame.map_err(|_| stopped(piece_within, language))?;
        let Some(frame) = frame else { return Ok(whole) };
        let frame = frame.map_err(|error| broke_off(&error, language))?;
        let Ok(piece) = frame.into_data() else { continue };
        if whole.len() + piece.len() > bytes_max {
            return Err(too_large(bytes_max, language));
        }
        whole.extend_from_slice(&piece);
    }
}

/// A long body is a text or two and little else. Many small values would be held at many times
/// their length.
fn few_values(body: &[u8], language: Language) -> Result<(), Refused> {
    let begins = |byte: &&u8| matches!(byte, b',' | b'[' | b'{');
    if body.iter().filter(begins).count() <= VALUES_MAX {
        return Ok(());
    }
    let what = say!(
        language,
        "so long a body may hold {VALUES_MAX} values, and this one holds more",
        "un corps aussi long peut contenir {VALUES_MAX} valeurs, et celui-ci en contient plus",
    );
    let help = language.pick("send one file at a time", "envoyer un fichier à la fois");
    Err(Refusal::new(Code::WrongBody, what, help).into())
}

fn too_large(bytes_max: usize, language: Language) -> Refused {
    // Four letters a three bytes.
    let mib = (bytes_max / 4 * 3) >> 20;
    let what = say!(
        language,
        "the file is too large: from a browser {mib} MiB is the most",
        "le fichier est trop grand : d’un navigateur, {mib} Mio au plus",
    );
    let help = language.pick(
        "make it smaller, or give it to the hub itself or to a device of the shop",
        "le réduire, ou le confier au hub même ou à un appareil de l’atelier",
    );
    Refusal::new(Code::TooLarge, what, help).into()
}

fn busy(language: Language) -> Refused {
    let what = language.pick(
        "this hub takes in as many large files as it can just now",
        "ce hub reçoit déjà autant de grands fichiers qu’il peut",
    );
    let seconds = AGAIN.as_secs();
    let help = say!(
        language,
        "nothing was recorded; try again in {seconds} s",
        "rien n’a été enregistré ; réessayer dans {seconds} s",
    );
    let refusal = Refusal::new(Code::TooOften, what, help);
    Refused::new(StatusCode::SERVICE_UNAVAILABLE, refusal).after(AGAIN)
}

fn stopped(within: Duration, language: Language) -> Refused {
    let seconds = within.as_secs();
    let what = say!(
        language,
        "nothing more of the file came for {seconds} s",
        "plus rien du fichier n’est arrivé pendant {seconds} s",
    );
    let_go(what, language)
}

fn too_slow(within: Duration, language: Language) -> Refused {
    let seconds = within.as_secs();
    let what = say!(
        language,
        "the file did not come whole within {seconds} s",
        "le fichier n’est pas arrivé entier en {seconds} s",
    );
    let_go(what, language)
}

fn let_go(what: String, language: Language) -> Refused {
    let help = language.pick(
        "nothing was recorded; send it again where the network is better",
        "rien n’a été enregistré ; l’envoyer à nouveau là où le réseau est meilleur",
    );
    Refused::new(StatusCode::REQUEST_TIMEOUT, Refusal::new(Code::WrongBody, what, help))
}

fn broke_off(error: &axum::Error, language: Language) -> Refused {
    let what = say!(
        language,
        "the body broke off: {error}",
        "le corps s’est interrompu, dit en anglais : « {error} »",
    );
    let help = language.pick("send it again", "l’envoyer à nouveau");
    Refusal::new(Code::WrongBody, what, help).into()
}

#[cfg(test)]
mod tests {
    use axum::body::Bytes;

    use super::*;

    fn asked(length: Option<usize>, body: Body) -> Request {
        let mut request = Request::new(body);
        if let Some(length) = length {
            request.headers_mut().insert(CONTENT_LENGTH, length.into());
        }
        request
    }

    async fn status(seats: &Seats, request: Request) -> Option<u16> {
        let seated = seats.seat(request, 100, Language::English).await;
        seated.err().map(|refused| refused.status.as_u16())
    }

    #[tokio::test]
    async fn a_body_is_taken_whole_and_gives_its_seat_back() {
        let seats = Seats::new();
        for _ in 0..3 * SEATS {
            let request = asked(Some(4), Body::from("\"ab\""));
            let seated = seats.seat(request, 100, Language::English).await;
            assert_eq!(seated.ok().unwrap().body, b"\"ab\"");
        }
        let long = || Body::from(vec![b' '; 101]);
        assert_eq!(status(&seats, asked(Some(101), long())).await, Some(413));
        assert_eq!(status(&seats, asked(None, long())).await, Some(413));
        assert_eq!(status(&seats, asked(None, Body::from("{}"))).await, None);
        let held: Vec<_> = (0..SEATS).map(|_| seats.free.clone().try_acquire_owned()).collect();
        assert_eq!(status(&seats, asked(Some(2), Body::from("{}"))).await, Some(503));
        drop(held);
        assert_eq!(status(&seats, asked(Some(2), Body::from("{}"))).await, None);
    }

    #[tokio::test]
    async fn many_small_values_are_refused_before_they_are_read() {
        let many = vec![b','; VALUES_MAX + 1];
        let request = asked(Some(many.len()), Body::from(many.clone()));
        let seated = Seats::new().seat(request, many.len(), Language::French).await;
        let refused = seated.err().unwrap();
        assert!(refused.refusal.what.contains("valeurs"), "{refused:?}");
    }

    #[tokio::test]
    async fn who_stops_and_who_is_too_slow_are_let_go() {
        let [short, long] = [Duration::from_millis(20), Duration::from_secs(60)];
        for (piece, all, said) in [(short, long, "nothing more"), (long, short, "come whole")] {
            let seats = Seats { patience: Patience { piece, all }, ..Seats::new() };
            let seated = seats.seat(asked(Some(9), stalls()), 100, Language::English).await;
            let refused = seated.err().unwrap();
            assert_eq!(refused.status, StatusCode::REQUEST_TIMEOUT);
            assert!(refused.refusal.what.contains(said), "{refused:?}");
            assert_eq!(seats.free.available_permits(), SEATS);
        }
    }

    /// A body of which one byte comes, and nothing more.
    fn stalls() -> Body {
        let (send, receive) = tokio::sync::mpsc::channel(1);
        tokio::spawn(async move {
            if send.send(Ok(Bytes::from_static(b"{"))).await.is_ok() {
                send.closed().await;
            }
        });
        Body::new(super::super::contents::Pieces(receive))
    }
}
