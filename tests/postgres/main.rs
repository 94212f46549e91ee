//! A hub whose store is in PostgreSQL, and several of its processes on one database.
//!
//! Debian's server is started by each test, in a folder of its own.

mod engines;
mod hubs;
mod late;
mod moved;

use guyline_tests::database::Server;

/// A server of the test's own, and the address of an empty database on it.
fn fresh() -> (Server, String) {
    let server = Server::start();
    let url = server.database("shop");
    (server, url)
}
