//! Text files of rows: a column for each wire, or a row for each value of a tag.

use super::clock::{day_time, rate_in, unit_in};
use super::{A_MICROSECOND, Clock, Femtos, Found, Kind, Series};

/// A sheet taken apart: comments, the names of its columns, and its rows with their lines.
struct Sheet<'t> {
    comments: Vec<&'t str>,
    names: Vec<String>,
    /// Whether a line of the file names the columns.
    named: bool,
    rows: Vec<(u64, Vec<&'t str>)>,
}

/// Read one. The error says where, behind the name of the file.
pub(super) fn read(text: &str) -> Result<Found, String> {
    let sheet = take_apart(text)?;
    let first =
        sheet.rows.first().ok_or(" has a line of names and no rows\n  mend: record something, then export it again")?;
    let dated = first.1.iter().position(|field| day_time(field).is_some());
    let timed = dated.or_else(|| sheet.names.iter().position(|name| sheet.named && is_time(name)));
    let tagged = long(&sheet, timed);
    match tagged {
        Some((tag, value)) => read_long(&sheet, timed, tag, value),
        None => read_wide(&sheet, timed),
    }
}

/// Whether a column's name is that of its time.
fn is_time(name: &str) -> bool {
    let lower = name.to_lowercase();
    let word = |word: &str| lower.split(|letter: char| !letter.is_alphanumeric()).any(|part| part == word);
    ["time", "timestamp", "t", "date", "datetime"].into_iter().any(word) || unit_in(name).is_some()
}

fn take_apart(text: &str) -> Result<Sheet<'_>, String> {
    let mut comments = Vec::new();
    let mut lines = Vec::new();
    for (line, number) in text.lines().zip(1_u64..) {
        let line = line.trim_end_matches('\r');
        match line.trim_start() {
            "" => {}
            comment if super::is_meta(comment) || comment.starts_with([';', '#']) => {
                comments.push(comment.trim_start_matches([';', '#', ' ']))
            }
            _ => lines.push((number, line)),
        }
    }
    let Some((_, first)) = lines.first() else {
        return Err(" holds comments only\n  mend: record something, then export it again".to_owned());
    };
    let delimiter = ['\t', ';', ','].into_iter().find(|delimiter| first.contains(*delimiter)).unwrap_or(',');
    let mut rows: Vec<(u64, Vec<&str>)> = lines
        .into_iter()
        .map(|(number, line)| (number, line.split(delimiter).map(|field| field.trim().trim_matches('"')).collect()))
        .collect();
    let named = rows[0].1.iter().any(|field| level(field).is_none() && day_time(field).is_none());
    let columns = rows[0].1.len();
    let mut names: Vec<String> = if named {
        rows.remove(0).1.into_iter().map(str::to_owned).collect()
    } else {
        (1..=columns).map(|number| format!("column {number}")).collect()
    };
    name_by_comment(&comments, &mut names);
    if let Some((number, row)) = rows.iter().find(|(_, row)| row.len() != columns) {
        let fields = if row.len() == 1 { "1 field".to_owned() } else { format!("{} fields", row.len()) };
        return Err(format!(
            ", line {number}: it has {fields}, the first line {columns}\n  mend: is this the file? If so leave out lines that are no \
             rows, and quote nothing that holds a `{delimiter}`"
        ));
    }
    Ok(Sheet { comments, names, named, rows })
}

/// A logic analyser names its channels in a comment (`Channels (2/13): D0, D1`) and its columns by what they hold.
fn name_by_comment(comments: &[&str], names: &mut [String]) {
    let is_one = |comment: &&&str| comment.to_lowercase().starts_with("channels");
    let Some((_, listed)) = comments.iter().find(is_one).and_then(|comment| comment.split_once(':')) else { return };
    let listed: Vec<&str> = listed.split(',').map(str::trim).collect();
    let same: Vec<usize> =
        (0..names.len()).filter(|place| names[*place] == "logic" || names[*place].starts_with("column ")).collect();
    if same.len() == listed.len() {
        for (place, name) in same.into_iter().zip(listed) {
            names[place] = name.to_owned();
        }
    }
}

/// Whether a row is one value of one tag: the columns of tag and value.
fn long(sheet: &Sheet<'_>, timed: Option<usize>) -> Option<(usize, usize)> {
    if sheet.names.len() < 3 || timed.is_none() {
        return None;
    }
    let words = |column: usize| sheet.rows.iter().take(1_000).all(|(_, row)| level(row[column]).is_none());
    let tag = (0..sheet.names.len()).find(|column| Some(*column) != timed && words(*column))?;
    let is_value = |column: &usize| {
        *column != tag
            && Some(*column) != timed
            && sheet.rows.iter().take(1_000).all(|(_, row)| level(row[*column]).is_some())
    };
    Some((tag, (0..sheet.names.len()).find(is_value)?))
}

/// The moments of all rows, and what tells them.
fn moments(sheet: &Sheet<'_>, timed: Option<usize>) -> Result<(Vec<Femtos>, Clock), String> {
    let Some(column) = timed else {
        let stated = sheet.comments.iter().find_map(|comment| Some((rate_in(comment)?, comment)));
        let clock = stated
            .map_or(Clock::Rows, |(rate, by)| Clock::Stated { step: 1e15 / rate, by: format!("the comment `{by}`") });
        return Ok(((0..sheet.rows.len() as Femtos).collect(), clock));
    };
    let name = &sheet.names[column];
    let fields = || sheet.rows.iter().map(|(number, row)| (*number, row[column]));
    let begun = fields().next().and_then(|(_, text)| Some((day_time(text)?, text)));
    if let Some(((began_us, zoned), by)) = begun {
        let at = |(number, text): (u64, &str)| {
            let (micros, _) =
                day_time(text).ok_or_else(|| format!(", line {number}: `{text}` is no time of day like `{by}`"))?;
            Ok(Femtos::from(micros - began_us) * A_MICROSECOND)
        };
        let moments = fields().map(at).collect::<Result<_, String>>()?;
        return Ok((moments, Clock::Day { began_us, zoned, by: by.to_owned() }));
    }
    // Fractions are kept to a billionth of the unit.
    let at = |(number, text): (u64, &str)| {
        let value = level(text).ok_or_else(|| format!(", line {number}: the time `{text}` is no number"))?;
        if value.abs() >= 1e15 {
            return Err(format!(", line {number}: the time `{text}` is beyond any recording"));
        }
        Ok((value * FINE).round() as Femtos)
    };
    let moments = fields().map(at).collect::<Result<_, String>>()?;
    let clock = match unit_in(name) {
        Some(unit) => Clock::Stated { step: unit.femtos() as f64 / FINE, by: format!("the column `{name}`") },
        None => Clock::Column { name: name.clone(), steps: FINE },
    };
    Ok((moments, clock))
}

/// Steps of a time column to its unit.
const FINE: f64 = 1e9;

fn span(sheet: &Sheet<'_>, moments: &[Femtos]) -> Result<((Femtos, Femtos), Option<Femtos>), String> {
    let mut step = None::<Femtos>;
    for (pair, (number, _)) in moments.windows(2).zip(sheet.rows.iter().skip(1)) {
        let gap = pair[1] - pair[0];
        if gap < 0 {
            return Err(format!(
                ", line {number}: its time lies before that of the line above: sort the rows, or cut the file there"
            ));
        }
        if gap > 0 {
            step = Some(step.map_or(gap, |step| step.min(gap)));
        }
    }
    let first = moments.first().copied().unwrap_or(0);
    if step.is_none() && sheet.rows.len() > 1 {
        return Err(": every row has the same time: nothing can be told from it".to_owned());
    }
    Ok(((first, moments.last().copied().unwrap_or(first)), step))
}

fn read_wide(sheet: &Sheet<'_>, timed: Option<usize>) -> Result<Found, String> {
    let (moments, clock) = moments(sheet, timed)?;
    let (span, step) = span(sheet, &moments)?;
    let mut series = Vec::new();
    for (column, name) in sheet.names.iter().enumerate().filter(|(column, _)| Some(*column) != timed) {
        let mut one = Series { name: name.clone(), ..Series::default() };
        for ((number, row), at) in sheet.rows.iter().zip(&moments) {
            take(&mut one, *number, *at, row[column]);
        }
        series.push(one);
    }
    Ok(Found { kind: Kind::Wide, series, clock, span, rows: sheet.rows.len() as u64, step })
}

fn read_long(sheet: &Sheet<'_>, timed: Option<usize>, tag: usize, value: usize) -> Result<Found, String> {
    let (moments, clock) = moments(sheet, timed)?;
    let mut order: Vec<usize> = (0..moments.len()).collect();
    // Exports come tag by tag as well: each tag must be in order, not the file.
    order.sort_by_key(|place| moments[*place]);
    let mut series: Vec<Series> = Vec::new();
    let mut newest: std::collections::HashMap<&str, Femtos> = std::collections::HashMap::new();
    for ((number, row), at) in sheet.rows.iter().zip(&moments) {
        if newest.insert(row[tag], *at).is_some_and(|before| before > *at) {
            return Err(format!(", line {number}: the time of `{}` goes back: sort the rows of each tag", row[tag]));
        }
    }
    let mut step = None::<Femtos>;
    for pair in order.windows(2) {
        let gap = moments[pair[1]] - moments[pair[0]];
        if gap > 0 {
            step = Some(step.map_or(gap, |step| step.min(gap)));
        }
    }
    for place in &order {
        let (number, row) = &sheet.rows[*place];
        let known = series.iter().position(|one| one.name == row[tag]);
        let known = known.unwrap_or_else(|| {
            series.push(Series { name: row[tag].to_owned(), ..Series::default() });
            series.len() - 1
        });
        take(&mut series[known], *number, moments[*place], row[value]);
    }
    let at = |place: Option<&usize>| place.map_or(0, |place| moments[*place]);
    let span = (at(order.first()), at(order.last()));
    Ok(Found { kind: Kind::Long, series, clock, span, rows: sheet.rows.len() as u64, step })
}

fn take(series: &mut Series, number: u64, at: Femtos, field: &str) {
    match level(field) {
        Some(value) => series.push(at, value),
        None => {
            series.not_numbers.get_or_insert((number, field.to_owned()));
        }
    }
}

/// A number or a level: decimal point or comma, or a word for on and off.
fn level(field: &str) -> Option<f64> {
    let plain = field.parse::<f64>().ok().or_else(|| field.replacen(',', ".", 1).parse().ok());
    plain.filter(|value| value.is_finite()).or_else(|| match field.to_lowercase().as_str() {
        "true" | "on" | "high" | "closed" => Some(1.0),
        "false" | "off" | "low" | "open" => Some(0.0),
        _ => None,
    })
}
