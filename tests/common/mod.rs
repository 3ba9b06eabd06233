//! What both test programs share.

pub mod adapt;
pub mod apart;
pub mod clean;
pub mod compare;
pub mod desk;
pub mod lines;
pub mod music;
pub mod page;
pub mod program;
pub mod sample;
pub mod staves;
pub mod unsigned;
