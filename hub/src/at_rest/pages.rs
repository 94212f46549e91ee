//! Pages of an encrypted store as they were before the engine encrypted them, for whoever reads a
//! damaged file without the engine.
//!
//! In: the bytes of a store file and of its log, and the folder's keys. Out: the same, decrypted
//! page by page. What is damaged comes out as noise where it is damaged and for a block behind it.
//! Nothing is authenticated here: whoever reads on trusts hashes and signatures only. The cipher is
//! a library's.
//!
//! Format: SQLCipher 4, "Design", "Page-level encryption": AES-256 in CBC mode over a page of 4 096
//! bytes less its last 80, of which the first 16 are the initialisation vector and the others an
//! HMAC. The first 16 bytes of the file are salt, where an open file says what it is.

use aes::Aes256;
use cbc::Decryptor;
use cbc::cipher::block_padding::NoPadding;
use cbc::cipher::{BlockModeDecrypt as _, KeyIvInit as _};

use super::Keys;
use crate::store::{FRAME_HEADER, LOG_HEADER};

const PAGE: usize = 4_096;
/// At the end of each page.
pub(crate) const RESERVED: usize = 80;
const VECTOR: usize = 16;
const HEAD: &[u8; 16] = b"SQLite format 3\0";

/// Decrypts the pages of a store's file.
pub(crate) fn open_file(keys: &Keys, file: &mut [u8]) {
    let key = keys.of_pages_raw();
    for (at, page) in file.chunks_exact_mut(PAGE).enumerate() {
        open_page(&key, page, at == 0);
    }
}

/// Decrypts the pages in the engine's log, which stand behind a head each that is not encrypted.
pub(crate) fn open_log(keys: &Keys, log: &mut [u8]) {
    let key = keys.of_pages_raw();
    let frames = log.get_mut(LOG_HEADER..).unwrap_or_default();
    for frame in frames.chunks_exact_mut(FRAME_HEADER + PAGE) {
        let (head, page) = frame.split_at_mut(FRAME_HEADER);
        open_page(&key, page, head[..4] == [0, 0, 0, 1]);
    }
}

fn open_page(key: &[u8; 32], page: &mut [u8], first: bool) {
    let (content, behind) = page.split_at_mut(PAGE - RESERVED);
    let vector: [u8; VECTOR] = *behind.first_chunk().expect("a page has its end");
    let content = if first {
        let (salt, content) = content.split_at_mut(HEAD.len());
        salt.copy_from_slice(HEAD);
        content
    } else {
        content
    };
    Decryptor::<Aes256>::new(key.into(), &vector.into())
        .decrypt_padded::<NoPadding>(content)
        .expect("a page is a whole number of blocks");
}
