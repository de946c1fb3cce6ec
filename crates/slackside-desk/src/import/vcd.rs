//! Value change dumps, IEEE 1364 clause 18: read by the library `vcd`.

use std::collections::HashMap;

use vcd::{Command, IdCode, Parser, ScopeItem, TimescaleUnit, Value, VarType};

use super::{Clock, Femtos, Found, Kind, Series};

/// What the library stumbled over, in a dump that begins behind so many lines.
fn broken(error: &std::io::Error, before: u64) -> String {
    let said = error.to_string();
    let (why, line) =
        said.rsplit_once(" at line ").map_or((&*said, None), |(why, line)| (why, line.parse::<u64>().ok()));
    match line {
        Some(line) => format!(
            ", line {}: what stands there has no place in a value change dump ({why})\n  mend: write the dump again, or take the line out",
            line + before
        ),
        None => format!(": the value change dump breaks off ({why})\n  mend: copy it again, or write it again"),
    }
}

/// Read one. The error says where, behind the name of the file.
pub(super) fn read(text: &str) -> Result<Found, String> {
    let begin = text.find('$').unwrap_or(0);
    let mut parser = Parser::new(&text.as_bytes()[begin..]);
    let before = text[..begin].matches('\n').count() as u64;
    let header = parser.parse_header().map_err(|error| broken(&error, before))?;
    let mut series: Vec<Series> = Vec::new();
    let mut places: HashMap<IdCode, usize> = HashMap::new();
    wires(&header.items, "", &mut series, &mut places);
    let clock = match header.timescale {
        Some((count, unit)) => {
            Clock::Stated { step: f64::from(count) * femtos(unit), by: format!("$timescale {count} {unit}") }
        }
        None => Clock::Column { name: "#".to_owned(), steps: 1.0 },
    };
    let (mut now, mut first, mut rows, mut step) = (0, None, 0, None::<Femtos>);
    for command in parser {
        match command.map_err(|error| broken(&error, before))? {
            Command::Timestamp(at) => {
                let at = Femtos::from(at);
                if first.is_some() && at < now {
                    return Err(format!(": its time goes back from #{now} to #{at}"));
                }
                if first.is_some() && at > now {
                    step = Some(step.map_or(at - now, |step| step.min(at - now)));
                }
                first.get_or_insert(at);
                now = at;
                rows += 1;
            }
            Command::ChangeScalar(wire, value) => {
                if let Some(series) = places.get(&wire).and_then(|place| series.get_mut(*place)) {
                    match value {
                        Value::V0 => series.push(now, 0.0),
                        Value::V1 => series.push(now, 1.0),
                        // Neither level: not known there, and no edge.
                        Value::X | Value::Z => {
                            series.not_numbers.get_or_insert((rows, value.to_string()));
                        }
                    }
                }
            }
            Command::ChangeReal(wire, value) => {
                if let Some(series) = places.get(&wire).and_then(|place| series.get_mut(*place)) {
                    series.push(now, value);
                }
            }
            _ => {}
        }
    }
    Ok(Found { kind: Kind::Dump, series, clock, span: (first.unwrap_or(0), now), rows, step })
}

/// Wires of one bit and real numbers, each by its name; by its scope as well where two have the same.
fn wires(items: &[ScopeItem], scope: &str, series: &mut Vec<Series>, places: &mut HashMap<IdCode, usize>) {
    for item in items {
        match item {
            ScopeItem::Var(var) if var.size == 1 || var.var_type == VarType::Real => {
                let taken = series.iter().any(|other| other.name == var.reference);
                let name = if taken { format!("{scope}.{}", var.reference) } else { var.reference.clone() };
                places.insert(var.code, series.len());
                series.push(Series { name, ..Series::default() });
            }
            ScopeItem::Scope(inner) => wires(&inner.items, &inner.identifier, series, places),
            _ => {}
        }
    }
}

const fn femtos(unit: TimescaleUnit) -> f64 {
    match unit {
        TimescaleUnit::S => 1e15,
        TimescaleUnit::MS => 1e12,
        TimescaleUnit::US => 1e9,
        TimescaleUnit::NS => 1e6,
        TimescaleUnit::PS => 1e3,
        TimescaleUnit::FS => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broken_dump_names_the_line_of_its_file() {
        const HEAD: &str =
            "META written by a logger\n$timescale 1 us $end\n$var wire 1 ! head $end\n$enddefinitions $end\n#0\n0!\n";
        assert_eq!(read(&format!("{HEAD}#5\n1!\n")).expect("sound").rows, 2);
        let wrong = read(&format!("{HEAD}#5q\n1!\n")).expect_err("no time");
        assert!(wrong.starts_with(", line 7: ") && wrong.contains("\n  mend: "), "{wrong}");
        let cut = read(&format!("{HEAD}$comment the disk was full")).expect_err("cut off");
        assert!(cut.contains("mend: "), "{cut}");
    }
}
