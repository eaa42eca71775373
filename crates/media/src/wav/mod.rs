//! Wave files, read and written by our own code: plain RIFF, RF64 (EBU Tech 3306) and BW64 (ITU-R BS.2088), with the
//! broadcast extension (EBU Tech 3285) and production metadata.

mod bext;
mod chunks;
mod read;
mod tags;
mod write;

pub(crate) use read::WavReader;
pub(crate) use write::WavWriter;
