//! Traces there and back, and messages for every way to break one.

use std::io::{Cursor, Write};

use flate2::Compression;
use flate2::write::GzEncoder;
use proptest::prelude::*;
use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Input, LineState, Origin, Place, Shaft, Signal};
use slackside::units::{DeciCelsius, Micros, Ppm, Span, Watts};

use super::*;

fn read(bytes: impl Into<Vec<u8>>) -> Result<(Vec<Input>, Survey), TraceError> {
    let mut reader = Reader::from_read("t.csv", Cursor::new(bytes.into()))?;
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while reader.read_batch(&mut batch)? {
        all.extend_from_slice(&batch);
    }
    Ok((all, reader.survey().clone()))
}

#[test]
fn rows_are_numbered_by_their_lines_and_inputs_that_come_from_no_text_by_themselves() {
    let text = "time_us,channel,value\n10,head,1\n# a comment\n\n20,boot,1\n30,head,0\n40,boot,0\n";
    for (counts_inputs, wanted) in [(false, [2, 5, 6, 7]), (true, [1, 2, 3, 4])] {
        let reader = Reader::from_read("t.csv", Cursor::new(text)).expect("a trace");
        let mut reader = if counts_inputs { reader.counting_inputs() } else { reader };
        let mut batch = Vec::new();
        assert!(reader.read_batch(&mut batch).expect("rows"));
        assert_eq!((batch.len(), reader.numbers()), (4, &wanted[..]));
    }
}

fn broken(bytes: impl Into<Vec<u8>>) -> TraceError {
    read(bytes).expect_err("a broken trace must be refused")
}

fn at(error: &TraceError) -> (u64, u64) {
    (error.line, error.column)
}

const GOOD: &str = "time_us,channel,value\n10,head,1\n20,boot,1\n30,head,0\n40,boot,0\n";

#[test]
fn a_plain_trace_is_read() {
    let (inputs, survey) = read(GOOD).expect("a good trace");
    assert_eq!(inputs.len(), 4);
    assert_eq!(inputs[1], Input::new(Micros::new(20), Signal::Edge(Shaft::Boot, true)));
    assert_eq!(survey.rises_and_falls(Shaft::Head), (1, 1));
    assert_eq!((survey.first, survey.last), (Some(Micros::new(10)), Some(Micros::new(40))));
}

#[test]
fn line_ends_marks_quotes_and_blank_lines_make_no_difference() {
    let plain = read(GOOD).expect("a good trace").0;
    let crlf = format!("\u{feff}{}", GOOD.replace('\n', "\r\n"));
    let quoted = "\"time_us\",\"channel\",\"value\"\n\n10,\"head\",1\n 20 , boot , 1 \n30,head,\"0\"\n40,boot,0";
    assert_eq!(read(crlf).expect("CRLF and a byte order mark").0, plain);
    assert_eq!(read(quoted).expect("quotes, spaces, no last line end").0, plain);
}

#[test]
fn gzip_is_known_by_its_content_and_may_have_several_members() {
    let mut packed = Vec::new();
    for part in [&GOOD[..30], &GOOD[30..]] {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(part.as_bytes()).expect("memory");
        packed.extend(encoder.finish().expect("memory"));
    }
    assert_eq!(read(packed.clone()).expect("gzip").0, read(GOOD).expect("plain").0);

    packed.truncate(packed.len() - 12);
    let error = broken(packed);
    assert!(error.problem.contains("breaks off"), "{error}");
    assert!(error.mend.contains("copy it again"), "{error}");
}

#[test]
fn what_is_no_trace_at_all_is_named() {
    assert!(broken("").problem.contains("empty"));
    assert!(broken("\n\n").problem.contains("empty"));
    assert!(broken("time_us,channel,value\n").problem.contains("no rows"));
    assert!(broken(*b"PK\x03\x04abc").problem.contains("ZIP"));
    assert!(broken(*b"\xff\xfet\0i\0").mend.contains("UTF-8"));
    let error = broken("time_us,channel,value\n5,drive,1\n");
    assert!(error.problem.contains("no motion"), "{error}");
}

#[test]
fn a_wrong_header_says_how_it_must_be() {
    let missing = broken("10,head,1\n");
    assert_eq!(at(&missing), (1, 1));
    assert!(missing.mend.contains("header is missing"), "{missing}");
    assert!(broken("time_us;channel;value\n").mend.contains("commas"));
    assert!(broken("t,signal,v\n").mend.contains("`time_us,channel,value`"));
}

#[test]
fn a_wrong_row_is_found_by_line_and_column() {
    let with = |row: &str| broken(format!("{GOOD}{row}\n"));
    let cases = [
        ("50,hed,1", (6, 4), "did you mean `head`?"),
        ("50,vibration,1", (6, 4), "use one of head, boot"),
        ("50,head,2", (6, 9), "1 for a rise, 0 for a fall"),
        ("50,rub_head_left,3", (6, 18), "2 for faulty"),
        ("50,power_w,-4", (6, 12), "watts from 0"),
        ("50,temp_head_left_c,4000", (6, 21), "degrees Celsius"),
        ("50,head,", (6, 9), "1 for a rise"),
        ("50,head", (6, 1), "a row for each input"),
        ("50;head;1", (6, 1), "commas"),
        ("0.5,head,1", (6, 1), "multiply seconds by 1000000"),
        ("-5,head,1", (6, 1), "none is negative"),
        ("+5,head,1", (6, 1), "whole microseconds"),
        ("99999999999999999999,head,1", (6, 1), "18446744073709551615"),
        ("time_us,channel,value", (6, 1), "second header"),
        ("50,command,reste", (6, 12), "did you mean `reset`?"),
        ("50,command,bypass:mistracking", (6, 12), "bypass:mistracking:600"),
        ("50,command,bypass:mistraking:5", (6, 12), "did you mean `mistracking`?"),
        ("50,command,bypass:mistracking:5000", (6, 12), "0 to 4294"),
        ("50,edges_lost,1", (6, 15), "`head` or `boot`"),
    ];
    for (row, place, mend) in cases {
        let error = with(row);
        assert_eq!(at(&error), place, "{error}");
        assert!(error.mend.contains(mend), "{error}");
    }
    let cut = broken(format!("{GOOD}50,he"));
    assert_eq!(at(&cut), (6, 1));
    assert!(cut.mend.contains("cut off"), "{cut}");
}

#[test]
fn bytes_that_are_no_text_are_found() {
    let mut bytes = GOOD.as_bytes().to_vec();
    bytes.extend_from_slice(b"50,he\xffd,1\n");
    let error = broken(bytes);
    assert_eq!(at(&error), (6, 6));
    assert!(error.mend.contains("UTF-8"));
}

#[test]
fn a_line_without_end_is_refused_before_memory_is() {
    let error = broken(format!("{GOOD}{}", "9".repeat(300_000)));
    assert_eq!(at(&error), (6, 1));
    assert!(error.problem.contains("does not end"));
}

#[test]
fn one_level_alone_is_refused() {
    let mut rises = String::from("time_us,channel,value\n1,drive,1\n");
    for time in 2..20 {
        rises.push_str(&format!("{time},boot,1\n"));
    }
    let error = broken(rises);
    assert_eq!(at(&error), (3, 0));
    assert!(error.problem.contains("only rises (1)"), "{error}");
    assert!(error.mend.contains("both levels"), "{error}");
    let falls = broken("time_us,channel,value\n1,head,0\n2,head,0\n3,boot,1\n4,boot,0\n");
    assert!(falls.problem.contains("only falls (0)"), "{falls}");
}

#[test]
fn rows_out_of_order_are_counted_not_refused() {
    let (_, survey) = read(format!("{GOOD}35,head,1\n36,head,0\n50,head,1\n")).expect("late rows are no error");
    assert_eq!((survey.out_of_order, survey.out_of_order_line), (2, 6));
    let machine = slackside::settings::Settings::example().machine;
    let warnings = survey.warnings(&machine);
    assert!(warnings.contains(&Warning::OutOfOrder { rows: 2, line: 6 }));
    assert!(warnings.contains(&Warning::Silent { channel: Channel::Drive }));
    let (_, survey) = read(format!("{GOOD}50,power_w,900\n")).expect("a row nobody uses is no error");
    assert!(survey.warnings(&machine).contains(&Warning::NotFitted { channel: Channel::Power, rows: 1, line: 6 }));
}

fn place() -> impl Strategy<Value = Place> {
    prop::sample::select(Place::ALL.to_vec())
}

fn shaft() -> impl Strategy<Value = Shaft> {
    prop::sample::select(vec![Shaft::Head, Shaft::Boot])
}

fn command() -> impl Strategy<Value = Command> {
    prop_oneof![
        Just(Command::Acknowledge),
        Just(Command::Reset),
        any::<bool>().prop_map(Command::ResetButton),
        Just(Command::BootCleared),
        any::<bool>().prop_map(Command::Key),
        (prop::sample::select(Condition::ALL.to_vec()), any::<u32>())
            .prop_map(|(condition, span)| Command::Bypass(condition, Span::new(span))),
        Just(Command::EndBypass),
        any::<bool>().prop_map(Command::Inch),
        any::<bool>().prop_map(Command::ProofTest),
        any::<(u32, u32)>().prop_map(|(old, new)| Command::Armed { old, new }),
    ]
}

fn signal() -> impl Strategy<Value = Signal> {
    let line = prop::sample::select(vec![LineState::Sound, LineState::Open, LineState::Shorted]);
    let contact = prop::sample::select(vec![ContactState::Clear, ContactState::Rubbing, ContactState::Faulty]);
    let origin = prop::sample::select(vec![Origin::Leg, Origin::Link]);
    prop_oneof![
        8 => (shaft(), any::<bool>()).prop_map(|(shaft, level)| Signal::Edge(shaft, level)),
        1 => (shaft(), line).prop_map(|(shaft, line)| Signal::Line(shaft, line)),
        1 => shaft().prop_map(Signal::EdgesLost),
        1 => (place(), contact).prop_map(|(place, state)| Signal::Contact(place, state)),
        1 => (place(), any::<i16>()).prop_map(|(place, tenths)| Signal::Temperature(place, DeciCelsius::new(tenths))),
        1 => any::<bool>().prop_map(Signal::DriveRunning),
        1 => any::<u32>().prop_map(|watts| Signal::DrivePower(Watts::new(watts))),
        1 => any::<i32>().prop_map(|ppm| Signal::SpeedReference(Ppm::new(ppm))),
        1 => any::<bool>().prop_map(Signal::OutletPlugged),
        2 => (origin, command()).prop_map(|(origin, command)| Signal::Command(origin, command)),
        1 => Just(Signal::Tick),
    ]
}

proptest! {
    #[test]
    fn every_input_comes_back_as_it_went(
        inputs in prop::collection::vec((any::<u64>(), signal()).prop_map(|(at, signal)| Input::new(Micros::new(at), signal)), 1..200)
    ) {
        let mut bytes = b"time_us,channel,value\n".to_vec();
        // Enough of both levels that the trace as a whole is in order.
        let frame = [Shaft::Head, Shaft::Boot].into_iter().flat_map(|shaft| {
            [true, false].map(|level| Input::new(Micros::ZERO, Signal::Edge(shaft, level)))
        });
        let all: Vec<Input> = frame.chain(inputs).collect();
        for input in &all {
            write_row(input, &mut bytes);
        }
        prop_assert_eq!(read(bytes).expect("what was written can be read").0, all);
    }

    #[test]
    fn nothing_makes_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..300), with_header in any::<bool>()) {
        let mut all = if with_header { b"time_us,channel,value\n".to_vec() } else { Vec::new() };
        all.extend(bytes);
        let _ = read(all);
    }

    /// The quick way and the careful way read the same: a space sends a row the careful way.
    #[test]
    fn both_ways_of_reading_agree(time in "[0-9]{1,21}", shaft in "head|boot", value in "[0-2]{1,2}") {
        let quick = read(format!("{GOOD}{time},{shaft},{value}\n"));
        let careful = read(format!("{GOOD} {time},{shaft},{value}\n"));
        match (quick, careful) {
            (Ok(quick), Ok(careful)) => prop_assert_eq!(quick, careful),
            (Err(quick), Err(careful)) => prop_assert_eq!(quick.problem, careful.problem),
            (quick, careful) => prop_assert!(false, "{:?} against {:?}", quick, careful),
        }
    }
}

#[test]
fn a_written_trace_begins_with_the_header() {
    let mut writer = Writer::begin(Vec::new()).expect("memory");
    writer.write(&Input::new(Micros::new(7), Signal::Edge(Shaft::Boot, true))).expect("memory");
    assert_eq!(writer.into_inner(), b"time_us,channel,value\n7,boot,1\n");
}
