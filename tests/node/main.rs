//! A node among others: what the exchange promises over real sockets and files, and what bad input
//! gets. One file a behaviour; nothing here waits for a fixed time or reaches beyond loopback.

mod background;
mod crew;
mod hostile;
mod hub;
mod instruments;
mod meeting;
mod members;
mod network;
mod papers;
mod program;
mod requests;
mod seals;
