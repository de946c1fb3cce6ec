//! Days as a table (CSV): what `--save` writes and what is made of a box's days, and what `trend` reads again.
//!
//! Lines before the columns say whose days they are: `#leg ` and the leg's name, `#box ` and the serial number of the box that kept them.
//! What was noted of work stands behind its word and a colon.

use std::io::{self, Write};

use slackside::daily::{Coarse, Kind, LoadBy, Summary};
use slackside::units::{DeciCelsius, Ppm, Span};

use super::{Date, Day, note_of, work_of, work_word};
use crate::error::{Result, bail};

/// Days, and whose they are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// The leg's name, if the table says it.
    pub leg: Option<String>,
    /// The serial number of the box that kept them, if one did.
    pub kept_by: Option<String>,
    /// The days.
    pub days: Vec<Day>,
}

/// What was in tables before temperatures were.
const FIRST_HEADER: &str = "day,what,settings_changed,by_load,running_s,slip_unloaded_ppm,slip_part_ppm,slip_full_ppm,ratio_shift_ppm,\
    duty_head_left_ppm,duty_head_right_ppm,duty_boot_left_ppm,duty_boot_right_ppm,head_rejects,boot_rejects,losses,starts,coast_ms";
const WARMTH: &str = ",hottest_head_left_c,hottest_head_right_c,hottest_boot_left_c,hottest_boot_right_c,coolest_c";
const LOOK_S: u32 = 2;
const LEG: &str = "#leg ";
const BOX: &str = "#box ";

/// How many bytes of a file tell [whether it is a table](is_table).
pub const OPENING: usize = 1_024;
/// Columns that no trace has: whoever broke a table's first lines left one of them.
const TELLING: [&[u8]; 3] = [b"day,what", b"slip_full_ppm", b"coast_ms"];

/// Whether a text that begins like this is a table of days, or was one before somebody changed its first lines.
#[must_use]
pub fn is_table(opening: &[u8]) -> bool {
    let opening = opening.strip_prefix(b"\xef\xbb\xbf").unwrap_or(opening);
    let holds = |word: &&[u8]| opening.windows(word.len()).any(|there| there == *word);
    [LEG.as_bytes(), BOX.as_bytes()].iter().any(|begins| opening.starts_with(begins)) || TELLING.iter().any(holds)
}

/// Write days as a table.
///
/// # Errors
/// What the writer says.
pub fn write_table(table: &Table, out: &mut dyn Write) -> io::Result<()> {
    for (begins, name) in [(LEG, &table.leg), (BOX, &table.kept_by)] {
        if let Some(name) = name {
            writeln!(out, "{begins}{}", name.replace(char::is_control, " "))?;
        }
    }
    writeln!(out, "{FIRST_HEADER}{WARMTH}")?;
    for Day { date, summary, .. } in &table.days {
        let date = if date.is_calendar() { date.to_string() } else { date.number().to_string() };
        let note = note_of(summary);
        let what = match summary.kind {
            Kind::Day => "day".to_owned(),
            Kind::PartOfDay => "part".to_owned(),
            Kind::Done(work) if note.is_empty() => work_word(work).to_owned(),
            Kind::Done(work) => format!("{}: {note}", work_word(work)),
        };
        let running = u32::from(summary.running) * LOOK_S;
        let load_by = match summary.load_by {
            LoadBy::Unknown => 0,
            LoadBy::Power => 1,
            LoadBy::HeadSpeed => 2,
        };
        write!(out, "{date},{what},{},{load_by},{running}", u8::from(summary.settings_changed))?;
        for figure in summary.slip.iter().chain([&summary.ratio_shift]).chain(&summary.duty) {
            field(out, figure.map(|ppm| i64::from(ppm.get())))?;
        }
        for count in summary.rejects.iter().chain([&summary.losses]) {
            field(out, count.get().map(i64::from))?;
        }
        field(out, Some(summary.starts.into()))?;
        field(out, summary.coast.map(|coast| i64::from(coast.get() / 1_000)))?;
        for temperature in summary.hottest.iter().chain([&summary.coolest]) {
            field(out, temperature.map(|temperature| i64::from(temperature.get()).div_euclid(10)))?;
        }
        writeln!(out)?;
    }
    Ok(())
}

fn field(out: &mut dyn Write, number: Option<i64>) -> io::Result<()> {
    match number {
        Some(number) => write!(out, ",{number}"),
        None => write!(out, ","),
    }
}

/// Read a table of days; `name` is what messages call it.
///
/// # Errors
/// A line that is none, with its place and how to mend it.
pub fn read_table(name: &str, text: &str) -> Result<Table> {
    let mut lines = (1..).zip(text.trim_start_matches('\u{feff}').lines());
    let mut table = Table::default();
    let (number, header) = loop {
        let (number, line) = lines.next().map_or((1, ""), |(number, line)| (number, line.trim_end()));
        match (line.strip_prefix(LEG), line.strip_prefix(BOX)) {
            (Some(leg), _) => table.leg = Some(leg.trim().to_owned()),
            (_, Some(serial)) => table.kept_by = Some(serial.trim().to_owned()),
            (None, None) => break (number, line),
        }
    };
    // Tables of before there were temperatures have fewer columns.
    let warmth = match header.strip_prefix(FIRST_HEADER) {
        Some("") => 0,
        Some(WARMTH) => WARMTH.matches(',').count(),
        _ => bail!(
            "{name}, line {number}: the columns are not those of a table of days\n  mend: expected `{FIRST_HEADER}{WARMTH}`"
        ),
    };
    for (number, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
        match row(line.trim_end(), warmth) {
            Ok((date, summary)) => table.days.push(Day { date, source: name.to_owned(), summary }),
            Err((column, wanted)) => {
                let column_name = header.split(',').nth(column).unwrap_or("the row");
                bail!(
                    "{name}, line {number}: `{column_name}` must be {wanted}\n  mend: write it so, or take the line out"
                );
            }
        }
    }
    Ok(table)
}

/// A row with so many columns of temperatures.
fn row(line: &str, warmth: usize) -> std::result::Result<(Date, Summary), (usize, String)> {
    let fields: Vec<&str> = line.split(',').collect();
    let first = FIRST_HEADER.split(',').count();
    let columns = first + warmth;
    if fields.len() != columns {
        return Err((columns, format!("{columns} fields, not {}", fields.len())));
    }
    let number = |column: usize, least: i64, most: i64| match fields[column] {
        "" => Ok(None),
        text => match text.parse() {
            Ok(number) if (least..=most).contains(&number) => Ok(Some(number)),
            _ => Err((column, format!("empty, or a whole number from {least} to {most}; it is `{text}`"))),
        },
    };
    let needed = |column, most| Ok(number(column, 0, most)?.unwrap_or(0));
    let date = Date::read(fields[0])
        .ok_or_else(|| (0, format!("a date such as 2026-03-14 or the number of a day; it is `{}`", fields[0])))?;
    let (word, note) = fields[1].split_once(':').unwrap_or((fields[1], ""));
    let kind = match word {
        "day" => Kind::Day,
        "part" => Kind::PartOfDay,
        word => Kind::Done(work_of(word).ok_or_else(|| {
            (1, format!("`day`, `part`, or work done: lagging, belt, splice, take-up, sensor, other; it is `{word}`"))
        })?),
    };
    let note = Summary::noted(note.trim().as_bytes())
        .ok_or_else(|| (1, format!("a word and a note of {} bytes at most", Summary::NOTE)))?;
    let figure = |column| -> std::result::Result<_, (usize, String)> {
        // Within bounds that fit.
        Ok(number(column, -327_670, 327_670)?.map(|ppm| Ppm::new(ppm as i32)))
    };
    let duty = |column| -> std::result::Result<_, (usize, String)> {
        Ok(number(column, 0, 1_000_000)?.map(|ppm| Ppm::new(ppm as i32)))
    };
    let count = |column| -> std::result::Result<_, (usize, String)> {
        Ok(number(column, 0, Coarse::MOST.into())?.map_or(Coarse::UNKNOWN, |count| Coarse::of(count as u32)))
    };
    let degrees = |at: usize| -> std::result::Result<_, (usize, String)> {
        if at >= warmth {
            return Ok(None);
        }
        Ok(number(first + at, -273, 3_000)?.map(|degrees| DeciCelsius::new(degrees as i16 * 10)))
    };
    Ok((
        date,
        Summary {
            day: 0,
            kind,
            settings_changed: needed(2, 1)? == 1,
            load_by: match needed(3, 2)? {
                0 => LoadBy::Unknown,
                1 => LoadBy::Power,
                _ => LoadBy::HeadSpeed,
            },
            running: (needed(4, 86_400)? as u32 / LOOK_S) as u16,
            slip: [figure(5)?, figure(6)?, figure(7)?],
            ratio_shift: figure(8)?,
            duty: [duty(9)?, duty(10)?, duty(11)?, duty(12)?],
            rejects: [count(13)?, count(14)?],
            losses: count(15)?,
            starts: needed(16, 254)? as u8,
            coast: number(17, 0, 25_400)?.map(|ms| Span::new(ms as u32 * 1_000)),
            hottest: [degrees(0)?, degrees(1)?, degrees(2)?, degrees(3)?],
            coolest: degrees(4)?,
            note,
        },
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_come_back_from_a_table_and_what_is_wrong_is_told_with_its_place() {
        let mut summary = Summary::empty(0, Kind::Day);
        summary.running = 21_600;
        summary.slip = [Some(Ppm::new(-40)), None, Some(Ppm::new(12_340))];
        summary.duty[0] = Some(Ppm::new(400));
        summary.rejects = [Coarse::of(17), Coarse::UNKNOWN];
        summary.starts = 9;
        summary.coast = Some(Span::new(5_200_000));
        summary.load_by = LoadBy::HeadSpeed;
        summary.hottest = [Some(DeciCelsius::new(410)), Some(DeciCelsius::new(-30)), None, None];
        summary.coolest = Some(DeciCelsius::new(-120));
        let day = |date: &str, kind| {
            let mut summary = summary;
            summary.kind = kind;
            if matches!(kind, Kind::Done(_)) {
                summary.note = Summary::noted("by 40 mm".as_bytes()).expect("short");
            }
            Day { date: Date::read(date).expect("a date"), source: "days.csv".to_owned(), summary }
        };
        let days = vec![day("2026-03-14", Kind::Day), day("2026-03-15", Kind::Done(slackside::daily::Work::TakeUp))];
        let written = |table: &Table| {
            let mut text = Vec::new();
            write_table(table, &mut text).expect("memory");
            String::from_utf8(text).expect("text")
        };
        let mut table = Table { days, ..Table::default() };
        for (leg, kept_by) in [(Some("Millbrook leg 3"), Some("A-17")), (None, Some("A-17")), (None, None)] {
            (table.leg, table.kept_by) = (leg.map(str::to_owned), kept_by.map(str::to_owned));
            let text = written(&table);
            for begins in ["", "\u{feff}"] {
                // As a spreadsheet saves it.
                let saved = format!("{begins}{}", text.replace('\n', "\r\n"));
                assert!(is_table(saved.as_bytes()));
                assert_eq!(read_table("days.csv", &saved).expect("a table"), table);
            }
            assert_eq!(read_table("days.csv", &text).expect("a table"), table);
            assert!(is_table(text.as_bytes()) && text.contains(",take-up: by 40 mm,"), "{text}");
        }
        let text = written(&table);
        for (from, to, said) in [
            ("2026-03-15", "2026-02-30", "line 3: `day` must be a date"),
            ("take-up", "takeup", "line 3: `what` must be `day`"),
            ("12340", "12.34", "line 2: `slip_full_ppm` must be empty, or a whole number"),
            (",5200,41,", ",41,", "line 2: `the row` must be 23 fields, not 22"),
            (",41,-3,", ",41.5,-3,", "line 2: `hottest_head_left_c` must be empty, or a whole number"),
            (",-12\n", ",-300\n", "line 2: `coolest_c` must be empty, or a whole number"),
            (",coolest_c", "", "line 1: the columns"),
            ("day,what", "what,day", "line 1: the columns"),
            ("day,what", "Leg 3\nday,what", "line 1: the columns"),
            ("day,what,settings_changed,by_load", "date", "line 1: the columns"),
            (",coast_ms", "", "line 1: the columns"),
        ] {
            let changed = text.replacen(from, to, 1);
            assert!(is_table(changed.as_bytes()), "it is one still: {changed}");
            let error = read_table("days.csv", &changed).expect_err("wrong").to_string();
            assert!(error.contains(said) && error.contains("mend:"), "{error}");
        }
    }

    #[test]
    fn tables_of_before_there_were_temperatures_are_read() {
        let text = format!("#leg Leg 3\n{FIRST_HEADER}\n17,day,0,1,30000,1000,,12340,-20,400,,,,2,3,0,6,5100\n");
        assert!(is_table(text.as_bytes()));
        let table = read_table("old.csv", &text).expect("a table");
        let Day { date, summary, .. } = &table.days[0];
        assert_eq!(
            (*date, summary.load_by, summary.coast),
            (Date::Counted(17), LoadBy::Power, Some(Span::new(5_100_000)))
        );
        assert_eq!((summary.hottest, summary.coolest), ([None; 4], None));
        let mut again = Vec::new();
        write_table(&table, &mut again).expect("memory");
        assert_eq!(read_table("old.csv", &String::from_utf8(again).expect("text")).expect("a table"), table);
    }
}
