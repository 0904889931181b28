//! The crate from outside: lesson text in, samples measured.

mod faults;
mod measure;
mod mixing;
mod pitch;
mod playing;
mod seam;
mod takes;
