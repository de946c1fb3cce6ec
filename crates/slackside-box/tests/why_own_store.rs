//! Why settings and latched trips are not kept by the library `sequential-storage`: damaged items are ignored there, and the
//! one before is handed out as if it were the newest. For a general store that is sensible; a box must stop instead.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

use core::future::Future;
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use embedded_storage::nor_flash::{NorFlash as _, ReadNorFlash as _};
use embedded_storage_async::nor_flash::{MultiwriteNorFlash, NorFlash, ReadNorFlash};
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};
use slackside_box::bench::{Flash, FlashFailure};

type Chip = Flash<1, 1024>;

struct Ready(Chip);

impl embedded_storage::nor_flash::ErrorType for Ready {
    type Error = FlashFailure;
}

impl ReadNorFlash for Ready {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashFailure> {
        self.0.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.0.capacity()
    }
}

impl NorFlash for Ready {
    const ERASE_SIZE: usize = 1024;
    const WRITE_SIZE: usize = 1;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashFailure> {
        self.0.erase(from, to)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashFailure> {
        self.0.write(offset, bytes)
    }
}

impl MultiwriteNorFlash for Ready {}

/// Nothing here ever waits.
fn now<T>(future: impl Future<Output = T>) -> T {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(value) => value,
        Poll::Pending => panic!("it waited"),
    }
}

#[test]
fn it_hands_out_the_item_before_a_damaged_one() {
    let mut buffer = [0; 128];
    let (untripped, tripped) = (0x1111_1111_u32, 0x7A7B_7C7D_u32);
    let mut storage =
        MapStorage::<u8, _, _>::new(Ready(Chip::new(4)), const { MapConfig::new(0..4096) }, Cache::new_uncached());
    now(storage.store_item(&mut buffer, &1, &untripped)).expect("stored");
    now(storage.store_item(&mut buffer, &1, &tripped)).expect("stored");
    let (Ready(mut chip), _) = storage.destroy();
    let at = chip.bytes().windows(4).position(|window| window == tripped.to_le_bytes()).expect("it is in there");
    chip.flip(at, 0);
    let mut storage =
        MapStorage::<u8, _, _>::new(Ready(chip), const { MapConfig::new(0..4096) }, Cache::new_uncached());
    let found = now(storage.fetch_item::<u32>(&mut buffer, &1)).expect("no error either");
    assert_eq!(found, Some(untripped));
}
