//! The disk as the engine sees it: a `sqlite3_vfs` whose files lie in memory.
//!
//! The only file with `unsafe` in the workspace. What it relies on: the engine calls these
//! functions as `sqlite3.h` says ("OS Interface Object", "File Methods"), one connection has the
//! disk at a time, and a disk once made is never taken away, so that no pointer to it can dangle.
//! What the engine is told about the disk is what its own unix layer tells it: sectors of 512
//! bytes, and that a write that is cut off touches no byte beside it (powersafe overwrite).
#![allow(unsafe_code, reason = "the engine calls its disk through C function pointers")]

use std::ffi::{CStr, CString, OsStr, c_char, c_int, c_void};
use std::io;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use guyline_hub::store::Disk;
use rusqlite::ffi;

use crate::image::{FileId, Image, SECTOR};
use crate::machine::{Failure, Fault, Lie, Machine, Reading};
use crate::power::Operation;

static DISKS: AtomicU32 = AtomicU32::new(0);

/// A disk in memory, known to the engine by a name of its own.
#[derive(Clone, Debug)]
pub struct TestDisk {
    name: String,
    machine: &'static Mutex<Machine>,
}

impl TestDisk {
    /// An empty disk.
    #[expect(clippy::new_without_default, reason = "it registers itself with the engine")]
    pub fn new() -> Self {
        let name = format!("test-disk-{}", DISKS.fetch_add(1, Ordering::Relaxed));
        // The engine keeps a pointer to both for as long as the process lives.
        let machine: &'static Mutex<Machine> = Box::leak(Box::default());
        let c_name = CString::new(name.clone()).expect("the name holds no zero").into_raw();
        let vfs = Box::leak(Box::new(vfs(c_name, machine)));
        // SAFETY: `vfs` and all it points to live for ever.
        let code = unsafe { ffi::sqlite3_vfs_register(vfs, 0) };
        assert_eq!(code, ffi::SQLITE_OK, "the engine takes the disk");
        Self { name, machine }
    }

    /// Puts this on the disk, in place of everything, and takes back what was planted. No
    /// connection may be open.
    pub fn load(&self, image: Image) {
        *self.lock() = Machine::with(image);
    }

    /// What is on the disk as the engine sees it.
    pub fn image(&self) -> Image {
        self.lock().image.clone()
    }

    /// How much was asked of it since it was loaded.
    pub fn asked(&self) -> usize {
        self.lock().trace.len()
    }

    /// Everything that was asked of it since it was loaded.
    pub fn trace(&self) -> Vec<Operation> {
        self.lock().trace.clone()
    }

    /// How many calls that change something were made since it was loaded, and how many reads.
    pub fn calls(&self) -> (u64, u64) {
        let machine = self.lock();
        (machine.changes, machine.reads)
    }

    /// Plants a fault, or takes it away.
    pub fn plant(&self, fault: Option<Fault>) {
        self.lock().fault = fault;
    }

    /// Plants a read that goes wrong.
    pub fn misread(&self, reading: Option<Reading>) {
        self.lock().reading = reading;
    }

    /// Makes the disk lie.
    pub fn lie(&self, lie: Lie) {
        self.lock().lie = Some(lie);
    }

    fn lock(&self) -> MutexGuard<'_, Machine> {
        self.machine.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Disk for TestDisk {
    fn engine(&self) -> Option<&str> {
        Some(&self.name)
    }

    fn read(&self, path: &Path, most: usize) -> io::Result<Vec<u8>> {
        let mut bytes = self.lock().image.bytes(&plain(path)).ok_or(io::ErrorKind::NotFound)?;
        bytes.truncate(most);
        Ok(bytes)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        let (mut machine, name) = (self.lock(), plain(path));
        if !machine.image.names.contains_key(&name) {
            return Err(io::ErrorKind::NotFound.into());
        }
        machine.change(Operation::Remove { name }).map_err(failed)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let operation = Operation::Rename { from: plain(from), to: plain(to) };
        self.lock().change(operation).map_err(failed)
    }

    fn folder_sync(&self, _dir: &Path) -> io::Result<()> {
        self.lock().change(Operation::SyncFolder).map_err(failed)
    }
}

fn failed(failure: Failure) -> io::Error {
    match failure {
        Failure::Full => io::ErrorKind::StorageFull.into(),
        Failure::Write | Failure::Sync => io::Error::other("planted"),
    }
}

fn code(failure: Failure) -> c_int {
    match failure {
        Failure::Write => ffi::SQLITE_IOERR_WRITE,
        Failure::Sync => ffi::SQLITE_IOERR_FSYNC,
        Failure::Full => ffi::SQLITE_FULL,
    }
}

fn done(outcome: Result<(), Failure>) -> c_int {
    outcome.map_or_else(code, |()| ffi::SQLITE_OK)
}

fn vfs(name: *const c_char, machine: &'static Mutex<Machine>) -> ffi::sqlite3_vfs {
    ffi::sqlite3_vfs {
        iVersion: 2,
        szOsFile: size_of::<OpenFile>() as c_int,
        mxPathname: 1_024,
        pNext: std::ptr::null_mut(),
        zName: name,
        pAppData: std::ptr::from_ref(machine).cast_mut().cast(),
        xOpen: Some(open),
        xDelete: Some(delete),
        xAccess: Some(access),
        xFullPathname: Some(full_path_name),
        xDlOpen: None,
        xDlError: None,
        xDlSym: None,
        xDlClose: None,
        xRandomness: Some(randomness),
        xSleep: Some(sleep),
        xCurrentTime: Some(current_time),
        xGetLastError: Some(last_error),
        xCurrentTimeInt64: Some(current_time_int),
        xSetSystemCall: None,
        xGetSystemCall: None,
        xNextSystemCall: None,
    }
}

static METHODS: ffi::sqlite3_io_methods = ffi::sqlite3_io_methods {
    iVersion: 2,
    xClose: Some(close),
    xRead: Some(read),
    xWrite: Some(write),
    xTruncate: Some(truncate),
    xSync: Some(sync),
    xFileSize: Some(file_size),
    xLock: Some(lock),
    xUnlock: Some(lock),
    xCheckReservedLock: Some(check_reserved_lock),
    xFileControl: Some(file_control),
    xSectorSize: Some(sector_size),
    xDeviceCharacteristics: Some(device_characteristics),
    xShmMap: Some(shm_map),
    xShmLock: Some(shm_lock),
    xShmBarrier: Some(shm_barrier),
    xShmUnmap: Some(shm_unmap),
    xFetch: None,
    xUnfetch: None,
};

/// What the engine holds of an open file. It gives the memory, zeroed, and starts at `base`.
#[repr(C)]
struct OpenFile {
    base: ffi::sqlite3_file,
    machine: *const Mutex<Machine>,
    file: FileId,
    /// A new journal's or log's first sync makes its folder durable, as the unix layer has it.
    sync_folder: bool,
}

type Vfs = *mut ffi::sqlite3_vfs;
type File = *mut ffi::sqlite3_file;

/// The disk behind a vfs.
unsafe fn of_vfs<'a>(vfs: Vfs) -> MutexGuard<'a, Machine> {
    // SAFETY: only `TestDisk::new` makes these, with a machine that lives for ever.
    let machine = unsafe { &*(*vfs).pAppData.cast::<Mutex<Machine>>() };
    machine.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The disk behind an open file, and the file.
unsafe fn of_file<'a>(file: File) -> (MutexGuard<'a, Machine>, &'a mut OpenFile) {
    // SAFETY: `open` made it, and the engine uses a file from one thread at a time.
    let open = unsafe { &mut *file.cast::<OpenFile>() };
    // SAFETY: machines live for ever.
    let machine = unsafe { &*open.machine };
    (machine.lock().unwrap_or_else(PoisonError::into_inner), open)
}

unsafe fn path(name: *const c_char) -> PathBuf {
    // SAFETY: the engine's names end with a zero.
    plain(Path::new(OsStr::from_bytes(unsafe { CStr::from_ptr(name) }.to_bytes())))
}

/// A name without its folder: a disk holds one store, whatever the folder is that is locked for it.
fn plain(path: &Path) -> PathBuf {
    path.file_name().map(PathBuf::from).unwrap_or_default()
}

unsafe extern "C" fn open(
    vfs: Vfs,
    name: ffi::sqlite3_filename,
    file: File,
    flags: c_int,
    out_flags: *mut c_int,
) -> c_int {
    // SAFETY: the arguments are the engine's, as the head of this file says.
    unsafe {
        let mut machine = of_vfs(vfs);
        // What has no name is the engine's own scratch, of which one is enough.
        let name = if name.is_null() { PathBuf::from("scratch") } else { path(name) };
        let create = flags & ffi::SQLITE_OPEN_CREATE != 0;
        let journal =
            ffi::SQLITE_OPEN_MAIN_JOURNAL | ffi::SQLITE_OPEN_WAL | ffi::SQLITE_OPEN_SUPER_JOURNAL;
        let new = !machine.image.names.contains_key(&name);
        let Ok(id) = machine.open(&name, create) else {
            (*file).pMethods = std::ptr::null();
            return ffi::SQLITE_CANTOPEN;
        };
        file.cast::<OpenFile>().write(OpenFile {
            base: ffi::sqlite3_file { pMethods: &raw const METHODS },
            machine: (*vfs).pAppData.cast(),
            file: id,
            sync_folder: new && flags & journal != 0,
        });
        if !out_flags.is_null() {
            *out_flags = flags;
        }
        ffi::SQLITE_OK
    }
}

unsafe extern "C" fn delete(vfs: Vfs, name: *const c_char, sync_folder: c_int) -> c_int {
    // SAFETY: as above.
    let (mut machine, name) = unsafe { (of_vfs(vfs), path(name)) };
    if !machine.image.names.contains_key(&name) {
        return ffi::SQLITE_IOERR_DELETE_NOENT;
    }
    let removed = machine.change(Operation::Remove { name });
    done(removed.and_then(|()| match sync_folder {
        0 => Ok(()),
        _ => machine.change(Operation::SyncFolder),
    }))
}

unsafe extern "C" fn access(
    vfs: Vfs,
    name: *const c_char,
    _flags: c_int,
    out: *mut c_int,
) -> c_int {
    // SAFETY: as above.
    unsafe {
        let mut machine = of_vfs(vfs);
        let file = machine.image.names.get(&path(name)).copied();
        // The unix layer takes an empty file for none.
        let there = file.is_some_and(|file| machine.image.content(file).length() > 0);
        *out = c_int::from(there);
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn full_path_name(
    _vfs: Vfs,
    name: *const c_char,
    room: c_int,
    out: *mut c_char,
) -> c_int {
    // SAFETY: as above; the engine says how much room there is.
    unsafe {
        let bytes = CStr::from_ptr(name).to_bytes_with_nul();
        if bytes.len() > room as usize {
            return ffi::SQLITE_CANTOPEN;
        }
        std::ptr::copy_nonoverlapping(bytes.as_ptr().cast(), out, bytes.len());
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn randomness(vfs: Vfs, count: c_int, out: *mut c_char) -> c_int {
    // SAFETY: as above.
    unsafe {
        let mut machine = of_vfs(vfs);
        for at in 0..count as usize {
            *out.add(at) = machine.random().word() as c_char;
        }
    }
    count
}

unsafe extern "C" fn sleep(_vfs: Vfs, microseconds: c_int) -> c_int {
    microseconds
}

/// 2026-05-14, in the engine's milliseconds since noon of the first Julian day.
const NOW: i64 = 212_645_476_800_000;

unsafe extern "C" fn current_time(_vfs: Vfs, out: *mut f64) -> c_int {
    // SAFETY: as above.
    unsafe { *out = NOW as f64 / 86_400_000.0 };
    ffi::SQLITE_OK
}

unsafe extern "C" fn current_time_int(_vfs: Vfs, out: *mut i64) -> c_int {
    // SAFETY: as above.
    unsafe { *out = NOW };
    ffi::SQLITE_OK
}

unsafe extern "C" fn last_error(_vfs: Vfs, _room: c_int, _out: *mut c_char) -> c_int {
    0
}

unsafe extern "C" fn close(_file: File) -> c_int {
    ffi::SQLITE_OK
}

unsafe extern "C" fn read(file: File, into: *mut c_void, count: c_int, at: i64) -> c_int {
    // SAFETY: as above; `into` has room for `count` bytes.
    unsafe {
        let (mut machine, open) = of_file(file);
        let into = std::slice::from_raw_parts_mut(into.cast::<u8>(), count as usize);
        let done = machine.read(open.file, at as usize, into);
        into[done..].fill(0);
        if done == into.len() { ffi::SQLITE_OK } else { ffi::SQLITE_IOERR_SHORT_READ }
    }
}

unsafe extern "C" fn write(file: File, from: *const c_void, count: c_int, at: i64) -> c_int {
    // SAFETY: as above; `from` holds `count` bytes.
    unsafe {
        let (mut machine, open) = of_file(file);
        let bytes = std::slice::from_raw_parts(from.cast::<u8>(), count as usize).into();
        done(machine.change(Operation::Write { file: open.file, at: at as usize, bytes }))
    }
}

unsafe extern "C" fn truncate(file: File, length: i64) -> c_int {
    // SAFETY: as above.
    let (mut machine, open) = unsafe { of_file(file) };
    done(machine.change(Operation::Truncate { file: open.file, length: length as usize }))
}

unsafe extern "C" fn sync(file: File, _flags: c_int) -> c_int {
    // SAFETY: as above.
    let (mut machine, open) = unsafe { of_file(file) };
    let folder = open.sync_folder;
    let synced = machine.change(Operation::Sync { file: open.file, folder });
    open.sync_folder = folder && synced.is_err();
    done(synced)
}

unsafe extern "C" fn file_size(file: File, out: *mut i64) -> c_int {
    // SAFETY: as above.
    unsafe {
        let (mut machine, open) = of_file(file);
        *out = machine.image.content(open.file).length() as i64;
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn lock(_file: File, _level: c_int) -> c_int {
    ffi::SQLITE_OK
}

unsafe extern "C" fn check_reserved_lock(_file: File, out: *mut c_int) -> c_int {
    // SAFETY: as above.
    unsafe { *out = 0 };
    ffi::SQLITE_OK
}

/// Under [`Lie::Normal`], whoever asks for `synchronous=FULL` gets NORMAL: the pragma's value is
/// the engine's own copy of four letters, and "1" says NORMAL.
unsafe extern "C" fn file_control(file: File, operation: c_int, argument: *mut c_void) -> c_int {
    if operation != ffi::SQLITE_FCNTL_PRAGMA {
        return ffi::SQLITE_NOTFOUND;
    }
    // SAFETY: for this operation the argument is three strings: room for a message, name, value.
    unsafe {
        let (machine, _) = of_file(file);
        let words = argument.cast::<*mut c_char>();
        let (name, value) = (*words.add(1), *words.add(2));
        if machine.lie == Some(Lie::Normal)
            && !value.is_null()
            && CStr::from_ptr(name).to_bytes().eq_ignore_ascii_case(b"synchronous")
            && CStr::from_ptr(value).to_bytes() == b"FULL"
        {
            *value = b'1' as c_char;
            *value.add(1) = 0;
        }
    }
    ffi::SQLITE_NOTFOUND
}

unsafe extern "C" fn sector_size(_file: File) -> c_int {
    SECTOR as c_int
}

unsafe extern "C" fn device_characteristics(_file: File) -> c_int {
    ffi::SQLITE_IOCAP_POWERSAFE_OVERWRITE
}

unsafe extern "C" fn shm_map(
    file: File,
    region: c_int,
    bytes: c_int,
    extend: c_int,
    out: *mut *mut c_void,
) -> c_int {
    // SAFETY: as above.
    unsafe {
        let (mut machine, open) = of_file(file);
        let regions = machine.shared.entry(open.file).or_default();
        let wanted = region as usize;
        while regions.len() <= wanted && extend != 0 {
            regions.push(vec![0; bytes as usize / size_of::<u64>()].into());
        }
        // Boxes stay where they are when the list of them grows.
        *out = regions
            .get_mut(wanted)
            .map_or(std::ptr::null_mut(), |region| region.as_mut_ptr().cast());
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn shm_lock(_file: File, _offset: c_int, _count: c_int, _flags: c_int) -> c_int {
    ffi::SQLITE_OK
}

unsafe extern "C" fn shm_barrier(_file: File) {
    std::sync::atomic::fence(Ordering::SeqCst);
}

unsafe extern "C" fn shm_unmap(file: File, delete: c_int) -> c_int {
    // SAFETY: as above.
    let (mut machine, open) = unsafe { of_file(file) };
    if delete != 0 {
        machine.shared.remove(&open.file);
    }
    ffi::SQLITE_OK
}
