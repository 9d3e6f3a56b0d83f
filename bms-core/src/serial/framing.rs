//! Bytes to messages and back. Nothing here panics and nothing waits: a byte at a time.

use super::LONGEST;
use crate::config::digest::CRC;
use cobs::{DecodeResult, DecoderState, EncoderState, PushResult};
use postcard::ser_flavors::Flavor;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// The bytes of the sum behind a body.
const SUM_BYTES: usize = 4;

/// The buffer is too short for the message.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoRoom;

/// A whole message was received, and thrown away.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Garbled {
    /// More bytes than any message has.
    TooLong,
    /// The zeros are not where COBS says.
    Torn,
    /// The sum is another one.
    WrongSum,
    /// The sum is right and yet it is no message of this version.
    NoMessage,
}

/// Writes a message as it goes over the wire, with the zero that ends it. [`LONGEST`] bytes are room enough for every message.
///
/// # Errors
///
/// When the room is too small.
pub fn send<'a>(message: &impl Serialize, room: &'a mut [u8]) -> Result<&'a [u8], NoRoom> {
    let framed = Framed { sum: CRC.digest(), cobs: EncoderState::default(), room, used: 1 };
    postcard::serialize_with_flavor(message, framed).map_err(|_| NoRoom)
}

/// Sums and frames what postcard writes.
struct Framed<'a> {
    sum: crc::Digest<'static, u32>,
    cobs: EncoderState,
    room: &'a mut [u8],
    /// Bytes written, the place for the first distance among them.
    used: usize,
}

impl Framed<'_> {
    fn write(&mut self, place: usize, byte: u8) -> postcard::Result<()> {
        *self.room.get_mut(place).ok_or(postcard::Error::SerializeBufferFull)? = byte;
        Ok(())
    }

    fn append(&mut self, byte: u8) -> postcard::Result<()> {
        self.write(self.used, byte)?;
        self.used = self.used.saturating_add(1);
        Ok(())
    }

    fn frame(&mut self, byte: u8) -> postcard::Result<()> {
        match self.cobs.push(byte) {
            PushResult::AddSingle(byte) => self.append(byte),
            PushResult::ModifyFromStartAndSkip((place, distance)) => {
                self.write(place, distance)?;
                self.append(0)
            }
            PushResult::ModifyFromStartAndPushAndSkip((place, distance, byte)) => {
                self.write(place, distance)?;
                self.append(byte)?;
                self.append(0)
            }
        }
    }
}

impl<'a> Flavor for Framed<'a> {
    type Output = &'a [u8];

    fn try_push(&mut self, byte: u8) -> postcard::Result<()> {
        self.sum.update(&[byte]);
        self.frame(byte)
    }

    fn finalize(mut self) -> postcard::Result<&'a [u8]> {
        for byte in self.sum.clone().finalize().to_le_bytes() {
            self.frame(byte)?;
        }
        let (place, distance) = self.cobs.clone().finalize();
        self.write(place, distance)?;
        self.append(0)?;
        let Self { room, used, .. } = self;
        room.get(..used).ok_or(postcard::Error::SerializeBufferFull)
    }
}

/// Puts messages together from bytes as they come.
#[derive(Debug)]
pub struct Receiver {
    body: heapless::Vec<u8, LONGEST>,
    cobs: DecoderState,
    /// Everything up to the next zero belongs to a message that is lost.
    lost: Option<Garbled>,
}

impl Default for Receiver {
    fn default() -> Self {
        Self::new()
    }
}

impl Receiver {
    /// One that waits for the first byte of a message.
    #[must_use]
    pub const fn new() -> Self {
        Self { body: heapless::Vec::new(), cobs: DecoderState::Idle, lost: None }
    }

    /// Takes one byte. With the last one of a message comes the message, or what is wrong with it; whatever it was, the next byte begins another.
    pub fn take<T: DeserializeOwned>(&mut self, byte: u8) -> Option<Result<T, Garbled>> {
        if let Some(lost) = self.lost {
            if byte != 0 {
                return None;
            }
            self.begin();
            return Some(Err(lost));
        }
        match self.cobs.feed(byte) {
            Ok(DecodeResult::NoData) => None,
            Ok(DecodeResult::DataContinue(byte)) => {
                if self.body.push(byte).is_err() {
                    self.lost = Some(Garbled::TooLong);
                }
                None
            }
            Ok(DecodeResult::DataComplete) => {
                let message = message(&self.body);
                self.begin();
                Some(message)
            }
            Err(_) => {
                self.begin();
                Some(Err(Garbled::Torn))
            }
        }
    }

    fn begin(&mut self) {
        self.body.clear();
        self.cobs = DecoderState::Idle;
        self.lost = None;
    }
}

/// The message of a body with its sum.
fn message<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Garbled> {
    let (body, sum) =
        bytes.len().checked_sub(SUM_BYTES).and_then(|at| bytes.split_at_checked(at)).ok_or(Garbled::Torn)?;
    if CRC.checksum(body).to_le_bytes() != sum {
        return Err(Garbled::WrongSum);
    }
    match postcard::take_from_bytes(body) {
        Ok((message, [])) => Ok(message),
        Ok(_) | Err(_) => Err(Garbled::NoMessage),
    }
}
