//! Guyline hub.
