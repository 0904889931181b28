//! The server from outside, by plain sockets: who is let in, what an attacker gets, what a page is told.

mod asking;
mod findings;
mod record;
mod safety;
mod taking;
mod work;
