//! A node among others: what the exchange promises over real sockets and files, and what bad input
//! gets. One file a behaviour; nothing here waits for a fixed time or reaches beyond loopback.

mod attachments;
mod background;
mod bucket;
mod bucket_hub;
mod bucket_store;
mod crew;
mod data;
mod hostile;
mod hub;
mod instruments;
mod keyring;
mod meeting;
mod members;
mod network;
mod papers;
mod parts;
mod program;
mod requests;
mod rights;
mod screens;
mod screens_attached;
mod screens_attacked;
mod seals;
mod sweeps;
mod takeout;
mod tls_client;
