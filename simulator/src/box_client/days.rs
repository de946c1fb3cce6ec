//! Days from a box, and what it says of the one under way.

use serde_json::{Value, json};
use slackside::daily::{Kind, LOOK, LoadBy, Summary, Work};
use slackside::units::{DeciCelsius, Ppm};
use slackside::wire::{Reason, Today, Window};

use slackside_desk::trend::{Day, days_of_box, note_of, work_word};

use super::client::{Client, LinkError};
use super::say::row;

/// Why a box may keep none.
pub const NO_DAYS: &str =
    "its flash has no room for them or takes none any more, or its firmware is older than this program";
/// More bytes than any ring of days has.
const MOST: u32 = 1 << 20;

/// What a box has kept.
pub struct Kept {
    /// The day under way.
    pub today: Today,
    /// Days and marks, in order.
    pub days: Vec<Day>,
}

/// A box that keeps no days, or knows no such window, is no error.
fn known<T>(read: Result<T, LinkError>) -> Result<Option<T>, LinkError> {
    match read {
        Err(LinkError::Refused(Reason::NoSuchRecording | Reason::NotUnderstood)) => Ok(None),
        other => other.map(Some),
    }
}

/// The day under way; `None` where the box keeps none.
///
/// # Errors
/// [`LinkError`].
pub fn today(client: &mut Client) -> Result<Option<Today>, LinkError> {
    let bytes = known(client.read(Window::Today, Today::LENGTH as u32, &mut |_| {}))?;
    Ok(bytes.and_then(|bytes| Today::from_bytes(bytes.first_chunk()?)))
}

/// The days that the box of this serial number has kept; `None` where it keeps none.
///
/// # Errors
/// [`LinkError`].
pub fn kept_days(client: &mut Client, serial: &str) -> Result<Option<Kept>, LinkError> {
    let Some(today) = today(client)? else { return Ok(None) };
    let window = known(client.read(Window::Days, MOST, &mut |_| {}))?;
    Ok(window.map(|window| Kept { today, days: days_of_box(serial, &window) }))
}

fn hours(looks: u16) -> f64 {
    f64::from(looks) * f64::from(LOOK.get()) / 3.6e9
}

/// Work that was marked, in words.
#[must_use]
pub fn say_mark(day: i32, work: Work, note: &str) -> String {
    let note = if note.is_empty() { String::new() } else { format!(" ({note})") };
    format!("Marked on day {day}: {}{note}.", work_word(work))
}

/// The day under way, in words, and what it asks for.
#[must_use]
pub fn say_today(today: &Today) -> String {
    let mut text = String::new();
    row(&mut text, "day", format_args!("{} under way, {:.1} h of it powered", today.day, hours(today.looks)));
    if let Some(Summary { day, kind: Kind::Done(work), .. }) = today.doubt {
        let work = work_word(work);
        let words = format!(
            "{work} marked on day {day}; settings are those from before: measure the no-slip ratio, look at the targets' spacing, \
             write the settings"
        );
        row(&mut text, "LEARN ANEW", words);
    }
    text
}

/// A day, in a line, and one more where temperatures are known.
#[must_use]
pub fn say_day(day: &Summary) -> String {
    let percent = |ppm: Option<Ppm>| ppm.map_or("-".to_owned(), |ppm| format!("{:.2} %", f64::from(ppm.get()) / 1e4));
    let slip = day.slip.map(percent);
    let slip = if day.load_by == LoadBy::Unknown { slip[0].clone() } else { slip.join(" / ") };
    let what = if day.kind == Kind::Day { "" } else { "  part" };
    let mut text = format!(
        "day {:>5}  ran {:>4.1} h  slip {slip}  ratio {}  starts {}{what}",
        day.day,
        hours(day.running),
        percent(day.ratio_shift),
        day.starts
    );
    let degrees = |temperature: Option<DeciCelsius>| {
        temperature.map_or("-".to_owned(), |temperature| format!("{:.0}", f64::from(temperature.get()) / 10.0))
    };
    if let Some(coolest) = day.coolest {
        let [head_left, head_right, boot_left, boot_right] = day.hottest.map(degrees);
        text.push_str(&format!(
            "\n           hottest: head {head_left} / {head_right}, boot {boot_left} / {boot_right} °C; coolest {} °C",
            degrees(Some(coolest))
        ));
    }
    text
}

/// The day under way, for other programs.
#[must_use]
pub fn today_object(today: &Today) -> Value {
    let learn = today.doubt.map(|mark| {
        let Kind::Done(work) = mark.kind else { return Value::Null };
        json!({"day": mark.day, "what": work_word(work), "note": note_of(&mark)})
    });
    json!({"number": today.day, "powered_h": hours(today.looks), "learn_anew": learn})
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_takes_no_line_wider_than_a_terminal() {
        let mut day = Summary::empty(12_345, Kind::PartOfDay);
        day.load_by = LoadBy::Power;
        day.slip = [Some(Ppm::new(-1_200)), Some(Ppm::new(3_400)), None];
        day.ratio_shift = Some(Ppm::new(-500));
        (day.running, day.starts) = (43_200, 12);
        day.hottest = [Some(DeciCelsius::new(1_140)), Some(DeciCelsius::new(-30)), None, Some(DeciCelsius::new(410))];
        day.coolest = Some(DeciCelsius::new(-120));
        let text = say_day(&day);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[1], "           hottest: head 114 / -3, boot - / 41 °C; coolest -12 °C");
        assert!(lines[0].contains("slip -0.12 % / 0.34 % / -  ratio -0.05 %  starts 12  part"), "{text}");
        assert!(lines.iter().all(|line| line.chars().count() <= 80), "{text}");
        (day.hottest, day.coolest) = ([None; 4], None);
        assert_eq!(say_day(&day).lines().count(), 1);
    }
}
