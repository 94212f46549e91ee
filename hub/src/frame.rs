//! One zstd frame: packed, and unpacked within bounds.
//!
//! In: bytes. Out: bytes, and back. What is unpacked never has more than [`RATIO_MAX`] times its
//! packed size, nor takes more memory than is allowed beforehand; what would is left plain by
//! [`pack`], so that no receiver takes it for a bomb. Knows nothing of what it packs.

use std::cell::RefCell;
use std::io::Read;

use zstd::zstd_safe::{CParameter, DCtx, get_error_name};

/// The packing of what stands as it is.
pub(crate) const PLAIN: u8 = 0;
/// The packing of what is in one zstd frame.
pub(crate) const ZSTD: u8 = 1;

/// The most bytes that anything is unpacked to.
pub(crate) const UNPACKED_BYTES_MAX: usize = 64 * 1024 * 1024;
/// How many times its packed size something may have.
pub(crate) const RATIO_MAX: usize = 50;
/// Up to here the ratio does not matter.
const RATIO_FREE_BYTES: usize = 256 * 1024;
/// 2^23 bytes of window bound what unpacking needs beside its result.
const ZSTD_WINDOW_LOG_MAX: u32 = 23;

thread_local! {
    /// What unpacking needs beside its result: making it anew takes as long as a small frame.
    static UNPACKING: RefCell<Option<DCtx<'static>>> = const { RefCell::new(None) };
}

/// Why a frame is not unpacked.
#[derive(Debug, thiserror::Error)]
pub enum FrameFault {
    /// It ends early or is damaged.
    #[error("it is incomplete or damaged: {source}")]
    Broken {
        /// The unpacker's reason.
        #[source]
        source: std::io::Error,
    },
    /// It holds more than is taken.
    #[error("it holds more than {allowed} bytes")]
    TooLong {
        /// How many are taken.
        allowed: usize,
    },
    /// It holds less than it says.
    #[error("it holds {found} bytes, and {said} were said")]
    Short {
        /// How many it holds.
        found: usize,
        /// How many were said.
        said: usize,
    },
    /// Something stands behind its end.
    #[error("{count} bytes stand behind its end")]
    Trailing {
        /// How many.
        count: usize,
    },
}

/// How long so many packed bytes may be unpacked.
pub(crate) fn inflated_max(packed_bytes: usize) -> usize {
    packed_bytes.saturating_mul(RATIO_MAX).clamp(RATIO_FREE_BYTES, UNPACKED_BYTES_MAX)
}

/// Packs bytes, and leaves them plain where the receiver would take the frame for a bomb. Gives how
/// they are packed.
pub(crate) fn pack(plain: &[u8], so: &[CParameter]) -> (u8, Vec<u8>) {
    let frame = compress(plain, so).expect("packing from memory to memory does not fail");
    match plain.len() <= inflated_max(frame.len()) {
        true => (ZSTD, frame),
        false => (PLAIN, plain.to_vec()),
    }
}

pub(crate) fn compress(plain: &[u8], so: &[CParameter]) -> std::io::Result<Vec<u8>> {
    let mut compressor = zstd::bulk::Compressor::default();
    so.iter().try_for_each(|how| compressor.set_parameter(*how))?;
    compressor.include_checksum(true)?;
    compressor.compress(plain)
}

/// Unpacks a frame that does not say how long it is.
pub(crate) fn unpack(frame: &[u8]) -> Result<Vec<u8>, FrameFault> {
    let allowed = inflated_max(frame.len());
    let broken = |source| FrameFault::Broken { source };
    let decoder = zstd::stream::read::Decoder::with_buffer(frame).map_err(broken)?;
    let mut decoder = decoder.single_frame();
    decoder.window_log_max(ZSTD_WINDOW_LOG_MAX).map_err(broken)?;
    let mut plain = Vec::new();
    decoder.by_ref().take(allowed as u64 + 1).read_to_end(&mut plain).map_err(broken)?;
    if plain.len() > allowed {
        return Err(FrameFault::TooLong { allowed });
    }
    match decoder.finish().len() {
        0 => Ok(plain),
        count => Err(FrameFault::Trailing { count }),
    }
}

/// Unpacks a frame of which it was said how long it is: in one go, and into no more room than that.
pub(crate) fn unpack_to(frame: &[u8], said: usize) -> Result<Vec<u8>, FrameFault> {
    let plain = UNPACKING.with_borrow_mut(|context| {
        let mut plain = Vec::with_capacity(said);
        let context = context.get_or_insert_with(DCtx::create);
        let unpacked = context.decompress(&mut plain, frame);
        unpacked.map(|_| plain).map_err(|code| std::io::Error::other(get_error_name(code)))
    });
    let plain = plain.map_err(|source| FrameFault::Broken { source })?;
    match plain.len() == said {
        true => Ok(plain),
        false => Err(FrameFault::Short { found: plain.len(), said }),
    }
}
