//! A box told to an MQTT broker: published only, nothing is subscribed to. No message stops or runs a leg.
//!
//! | topic | retained | what |
//! |---|---|---|
//! | `TOPIC/online` | yes | `online` while the leg is being judged; `offline` once it is not for two seconds, and by the last will |
//! | `TOPIC/status` | no | the state of the box as JSON, once a second |
//!
//! A permit is never retained: whoever comes late would find it beside `offline`. The broker may be slow, away, or not there at all: the box
//! leaves its newest state and goes on.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{Builder, sleep};
use std::time::{Duration, Instant};

use anyhow::Context as _;
use rumqttc::{Client, Connection, Event, LastWill, MqttOptions, Packet, QoS};
use serde_json::Value;
use slackside_modbus::leg::OLD_AFTER;

/// How often the state is told.
const EVERY: Duration = Duration::from_secs(1);
/// How often it is looked whether there is something to tell.
const LOOK: Duration = Duration::from_millis(100);
/// A broker that went is tried again after so long.
const AGAIN: Duration = Duration::from_secs(1);
/// A connection that says nothing for so long is asked whether it is there.
const ALIVE: Duration = Duration::from_secs(5);
/// The state of a leg that nobody has judged for so long is not told.
const OLD: Duration = Duration::from_micros(OLD_AFTER.get() as u64);
/// Messages on their way to the broker, at most: what does not fit is not told, and newer is soon there.
const ROOM: usize = 8;

/// Which broker, and under which name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mqtt {
    /// The broker's host.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// What every topic begins with.
    pub topic: String,
}

/// The newest state of the box.
struct State {
    object: Value,
    taken: Instant,
}

/// A broker that has answered.
struct Live {
    client: Client,
    /// What it was last told of the leg; nothing yet on this connection.
    online: Option<bool>,
}

struct Shared {
    mqtt: Mqtt,
    state: Mutex<Option<State>>,
    live: Mutex<Option<Live>>,
    stop: AtomicBool,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // A thread that panicked has left a whole value: each is written in one go.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Publishes until it is dropped.
pub struct Publisher(Arc<Shared>);

impl Publisher {
    /// Begin; the broker need not be there yet.
    ///
    /// # Errors
    /// No thread can be started.
    pub fn start(mqtt: Mqtt) -> anyhow::Result<Self> {
        let shared =
            Arc::new(Shared { mqtt, state: Mutex::new(None), live: Mutex::new(None), stop: AtomicBool::new(false) });
        let (connecting, telling) = (Arc::clone(&shared), Arc::clone(&shared));
        let start = |name: &str, work: Box<dyn FnOnce() + Send>| {
            Builder::new().name(name.to_owned()).spawn(work).with_context(|| format!("starting the thread {name}"))
        };
        // Neither is waited for at the end: a broker that does not answer would hold the program.
        start("mqtt", Box::new(move || connecting.connect()))?;
        start("mqtt teller", Box::new(move || telling.tell()))?;
        Ok(Self(shared))
    }

    /// Whether it is time for a new state.
    #[must_use]
    pub fn wants_state(&self) -> bool {
        locked(&self.0.state).as_ref().is_none_or(|state| state.taken.elapsed() >= LOOK)
    }

    /// The box came round, and is as it says.
    pub fn take(&self, object: Value) {
        *locked(&self.0.state) = Some(State { object, taken: Instant::now() });
    }
}

impl Drop for Publisher {
    fn drop(&mut self) {
        self.0.stop.store(true, Ordering::SeqCst);
        if let Some(live) = locked(&self.0.live).take() {
            self.0.say_online(&live.client, false);
            // Gone already, or going.
            let _ = live.client.try_disconnect();
        }
    }
}

impl Shared {
    fn stops(&self) -> bool {
        self.stop.load(Ordering::SeqCst)
    }

    fn topic(&self, name: &str) -> String {
        format!("{}/{name}", self.mqtt.topic)
    }

    /// Whether the broker has taken it for sending.
    fn say_online(&self, client: &Client, online: bool) -> bool {
        let word = if online { "online" } else { "offline" };
        client.try_publish(self.topic("online"), QoS::AtLeastOnce, true, word).is_ok()
    }

    /// A new connection each time the last one ends: nothing that was meant for that one is sent late.
    fn connect(&self) {
        while !self.stops() {
            let (client, connection) = Client::new(self.options(), ROOM);
            self.hold(&client, connection);
            *locked(&self.live) = None;
            sleep(AGAIN);
        }
    }

    fn options(&self) -> MqttOptions {
        // One box in one program: its process tells it from every other.
        let name = format!("slackside-{}", std::process::id());
        let mut options = MqttOptions::new(name, self.mqtt.host.clone(), self.mqtt.port);
        options.set_keep_alive(ALIVE);
        options.set_last_will(LastWill::new(self.topic("online"), "offline", QoS::AtLeastOnce, true));
        options
    }

    /// Until it ends.
    fn hold(&self, client: &Client, mut connection: Connection) {
        for event in connection.iter() {
            match event {
                // On every connection: the last will of the one before may have said otherwise.
                Ok(Event::Incoming(Packet::ConnAck(_))) if !self.stops() => {
                    *locked(&self.live) = Some(Live { client: client.clone(), online: None });
                }
                Ok(_) => {}
                Err(_) => return,
            }
        }
    }

    fn tell(&self) {
        let mut told = Instant::now();
        while !self.stops() {
            sleep(LOOK);
            let text = match &*locked(&self.state) {
                Some(state) if state.taken.elapsed() <= OLD => Some(state.object.to_string()),
                _ => None,
            };
            let mut live = locked(&self.live);
            let Some(live) = live.as_mut() else { continue };
            let online = text.is_some();
            let is_new = live.online != Some(online);
            if is_new && self.say_online(&live.client, online) {
                live.online = Some(online);
            }
            if let Some(text) = text
                && (is_new || told.elapsed() >= EVERY)
            {
                told = Instant::now();
                // What finds no room is told a second later, newer.
                let _ = live.client.try_publish(self.topic("status"), QoS::AtMostOnce, false, text);
            }
        }
    }
}
