//! The machine's own sound device in the place of the page's loudspeakers, in a program built with the feature `device`.
//!
//! Player and guard know nothing of it: it grants the player frames and takes its pieces, as the page does where that plays.

#[cfg(feature = "device")]
mod card;
#[cfg(any(test, feature = "device"))]
mod ring;

#[cfg(not(feature = "device"))]
use engine::Fault;
use units::Frame;

#[cfg(feature = "device")]
pub(crate) use card::Device;

/// Takes the player's pieces to the device.
pub(crate) type Feed = Box<dyn FnMut(&[Frame]) + Send>;

/// A sound device that plays, until it is dropped. There is none in this build.
#[cfg(not(feature = "device"))]
pub(crate) enum Device {}

#[cfg(not(feature = "device"))]
impl Device {
    /// Says that there is none.
    ///
    /// # Errors
    /// Always.
    pub(crate) fn open(
        wanted: &str,
        _: u32,
        _: std::sync::mpsc::Sender<crate::player::Order>,
        _: impl Fn(Fault) + Send + 'static,
    ) -> Result<(Self, Feed), Fault> {
        let message = "This program was built without sound devices.".to_owned();
        let remedy = "Leave `--device` out: then the page plays. Or build with `--features device`.".to_owned();
        Err(Fault::input("no-device", shown(wanted), message, remedy))
    }

    pub(crate) fn name(&self) -> &str {
        match *self {}
    }
}

/// A device as it was asked for, in words.
fn shown(wanted: &str) -> &str {
    if wanted.is_empty() { "the machine's sound device" } else { wanted }
}

#[cfg(all(test, not(feature = "device")))]
mod tests {
    use super::*;

    #[test]
    fn a_build_without_devices_says_so() {
        let (orders, _) = std::sync::mpsc::channel();
        let fault = Device::open("", 48_000, orders, |_| ()).err().expect("there is none");
        let problem = fault.problem();
        assert!(problem.message.contains("without sound devices") && problem.remedy.contains("the page plays"));
    }
}
