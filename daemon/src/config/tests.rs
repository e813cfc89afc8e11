//! Each kind of mistake: the message names file, line and key, and what to do.

use super::*;

fn read(text: &str) -> Result<Config, ConfigError> {
    Config::from_toml(text, Path::new("hall/bay.toml"))
}

/// The error of a file; it must carry the code and say each of `words`.
#[track_caller]
fn refuse(text: &str, code: Code, words: &[&str]) {
    let error = read(text).unwrap_err();
    let said = error.to_string();
    assert_eq!(error.code, code, "{said}");
    for word in words {
        assert!(said.contains(word), "`{word}` is not in: {said}");
    }
    assert!(!said.contains('\n'), "{said}");
}

#[test]
fn defaults_stay_on_this_machine() {
    let config = Config::defaults();
    assert!(config.udp.listen.ip().is_loopback() && config.http.listen.ip().is_loopback());
    assert_eq!(read("version = 1").unwrap(), config);
}

#[test]
fn printed_defaults_read_back_as_the_defaults() {
    let text = Config::defaults().to_toml();
    assert_eq!(read(&text).unwrap(), Config::defaults(), "{text}");
}

#[test]
fn printed_values_read_back_whatever_they_hold() {
    let mut config = Config::defaults();
    config.bay.name = "The \"North\" bay\n\\ ü".into();
    config.context.file = Some("/srv/context.toml".into());
    config.recording.dir = Some("/srv/kept here".into());
    config.http.listen = "[::1]:0".parse().unwrap();
    let text = config.to_toml();
    assert_eq!(read(&text).unwrap(), config, "{text}");
}

const HALL: &str = "\
version = 1
[bay]
id = \"north\"
zone = \"Europe/Berlin\"
[udp]
allow = [\"192.0.2.0/24\"]
[late_millis]
2 = 3.5
[[bays]]
id = \"south\"
listen = \"127.0.0.1:47801\"
context = \"south.toml\"
late_millis = { 1 = -2 }
[[bays]]
id = \"west\"
name = \"West\"
zone = \"UTC\"
listen = \"127.0.0.1:47802\"
allow = []
map = \"club_led\"
student = \"w-1\"
";

#[test]
fn a_hall_has_a_configuration_for_each_bay() {
    let hall = read(HALL).unwrap();
    let [north, south, west] = <[Config; 3]>::try_from(hall.each()).unwrap();
    assert_eq!(
        (north.bay.name.as_str(), south.bay.name.as_str()),
        ("Bay", "south")
    );
    assert_eq!(south.bay.zone, north.bay.zone, "the hall's");
    assert_eq!(
        (south.udp.listen.port(), west.udp.listen.port()),
        (47_801, 47_802)
    );
    assert_eq!((south.udp.allow.len(), west.udp.allow.len()), (1, 0));
    assert_eq!(south.context.file.unwrap(), Path::new("hall/south.toml"));
    assert_eq!(
        (south.markers.map.as_str(), west.markers.map.as_str()),
        ("whin_32", "club_led")
    );
    assert_eq!(west.archive.student.as_deref(), Some("w-1"));
    // What was found late in one bay holds for no other.
    assert_eq!(north.late_millis.nanoseconds()[&2], 3_500_000);
    assert_eq!(south.late_millis.nanoseconds()[&1], -2_000_000);
    assert!(west.late_millis.nanoseconds().is_empty());
    assert!(north.bays.is_empty() && west.bays.is_empty());
}

#[test]
fn a_printed_hall_reads_back() {
    let hall = read(HALL).unwrap();
    let text = hall.to_toml();
    let again = Config::from_toml(&text, Path::new("/bay.toml")).unwrap();
    let absolute = |config: &Config| {
        let mut config = config.clone();
        config.bays[0].context = None;
        config
    };
    assert_eq!(absolute(&again), absolute(&hall), "{text}");
}

#[test]
fn bays_that_do_not_go_together_are_named() {
    let twice = HALL.replace("\"west\"", "\"south\"");
    refuse(
        &twice,
        Code::ConfigValue,
        &["line 9", "two bays are called `south`"],
    );
    let same = HALL.replace("47802", "47800");
    refuse(
        &same,
        Code::ConfigValue,
        &["`north`", "`west`", "127.0.0.1:47800"],
    );
    let both = HALL.replace(
        "[late_millis]",
        "[archive]\nstudent = \"w-1\"\n[late_millis]",
    );
    refuse(&both, Code::ConfigValue, &["`w-1` stands in two bays"]);
    let odd = HALL.replace("student =", "pupil =");
    refuse(
        &odd,
        Code::ConfigUnknownKey,
        &["line 21", "`bays.pupil`", "`student`"],
    );
    refuse(
        "version = 1\n[[bays]]\nid = \"south\"",
        Code::ConfigValue,
        &["`listen`"],
    );
}

#[test]
fn relative_paths_are_meant_from_the_file() {
    let text = "version = 1\n[markers]\nmap = \"maps/own.toml\"\n[recording]\ndir = \"kept\"";
    let config = read(text).unwrap();
    assert_eq!(config.markers.map, "hall/maps/own.toml");
    assert_eq!(config.recording.dir.unwrap(), Path::new("hall/kept"));
    let shipped = read("version = 1\n[markers]\nmap = \"club_led\"").unwrap();
    assert_eq!(shipped.markers.map, "club_led");
}

#[test]
fn flags_beat_the_file_and_the_file_beats_defaults() {
    let file =
        read("version = 1\n[udp]\nlisten = \"127.0.0.1:1\"\n[http]\nlisten = \"127.0.0.1:2\"")
            .unwrap();
    let flags = Flags {
        http: Some("127.0.0.1:3".parse().unwrap()),
        ..Flags::default()
    };
    let config = file.with(flags);
    assert_eq!(config.udp.listen.port(), 1);
    assert_eq!(config.http.listen.port(), 3);
    assert_eq!(config.markers, Markers::default());
}

#[test]
fn an_unknown_key_is_named_with_what_is_allowed() {
    let text = "version = 1\n[udp]\nlisten = \"127.0.0.1:1\"\nrecieve_buffer_bytes = 1";
    let words = [
        "hall/bay.toml, line 4",
        "`udp.recieve_buffer_bytes`",
        "`listen`",
        "`receive_buffer_bytes`",
    ];
    refuse(text, Code::ConfigUnknownKey, &words);
}

#[test]
fn an_unknown_section_is_named_with_what_is_allowed() {
    let words = ["line 3", "`upd`", "`udp`", "`recording`"];
    refuse(
        "version = 1\n\n[upd]\nlisten = \"127.0.0.1:1\"",
        Code::ConfigUnknownKey,
        &words,
    );
    refuse(
        "version = 1\n\nupd.listen = \"127.0.0.1:1\"",
        Code::ConfigUnknownKey,
        &words[..1],
    );
}

#[test]
fn a_wrong_type_is_named_by_its_key() {
    let text = "version = 1\n[markers]\nmap = 3";
    refuse(
        text,
        Code::ConfigValue,
        &["line 3", "`markers.map`", "string"],
    );
    let text = "version = 1\n[markers]\nreorder_window_millis = 2.5";
    refuse(
        text,
        Code::ConfigValue,
        &["line 3", "`markers.reorder_window_millis`"],
    );
}

#[test]
fn values_that_make_no_sense_are_named_with_what_does() {
    let bad = |line: &str, words: &[&str]| {
        refuse(&format!("version = 1\n{line}"), Code::ConfigValue, words)
    };
    bad(
        "bay.id = \"North\"",
        &["line 2", "`bay.id`", "a-z, 0-9 and -"],
    );
    bad("bay.id = \"\"", &["`bay.id`"]);
    bad(
        &format!("bay.id = \"{}\"", "x".repeat(33)),
        &["`bay.id`", "1 to 32"],
    );
    bad("bay.zone = \"../etc\"", &["`bay.zone`", "Europe/Berlin"]);
    bad(
        "http.listen = \"localhost\"",
        &["`http.listen`", "socket address"],
    );
    bad(
        "udp.receive_buffer_bytes = 12",
        &["`udp.receive_buffer_bytes`", "65536"],
    );
    bad(
        "udp.receive_buffer_bytes = -1",
        &["`udp.receive_buffer_bytes`"],
    );
    bad(
        "markers.reorder_window_millis = 1001",
        &["`markers.reorder_window_millis`", "0 to 1000"],
    );
}

#[test]
fn a_broken_form_is_named_with_its_line() {
    refuse(
        "version = 1\n[udp\nlisten = 3",
        Code::ConfigSyntax,
        &["hall/bay.toml, line 2"],
    );
    refuse(
        "version = 1\n[bay]\nid = \"a\"\nid = \"b\"",
        Code::ConfigSyntax,
        &["line 4", "duplicate"],
    );
}

#[test]
fn a_version_that_is_not_ours_is_refused_before_its_keys() {
    refuse(
        "\nversion = 2\n[new]\nkey = 1",
        Code::ConfigVersion,
        &["line 2", "is 2", "reads 1"],
    );
    refuse("version = \"1\"", Code::ConfigVersion, &["line 1"]);
    refuse(
        "[bay]\nid = \"a\"",
        Code::ConfigVersion,
        &["line 1", "`version = 1`"],
    );
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let error = Config::load(Path::new("nowhere/bay.toml")).unwrap_err();
    assert_eq!(error.code, Code::ConfigUnreadable);
    assert!(
        error.to_string().starts_with("nowhere/bay.toml: "),
        "{error}"
    );
}
