//! Intake of the demo's stems, which are clean: false alarms, counted.

use prints::intake::intake;
use units::Severity;

/// Warnings that a clean stem may raise.
const MOST_WARNINGS: usize = 2;

#[test]
fn clean_stems_raise_no_failure_and_few_warnings() {
    let folder = tempfile::tempdir().unwrap();
    let files = demo::write(folder.path()).unwrap();
    let taken = intake(files.sheet.parent().unwrap(), 2, &|_| ()).unwrap();
    assert!(taken.findings.iter().all(|finding| finding.severity != Severity::Fail));
    for file in taken.files.iter().filter(|file| file.group().is_some()) {
        let about =
            |severity| taken.findings.iter().filter(move |f| f.severity == severity && f.at == file.file).count();
        assert!(about(Severity::Warn) <= MOST_WARNINGS, "{}", file.file);
    }
    let warnings = taken.findings.iter().filter(|finding| finding.severity == Severity::Warn);
    assert_eq!(warnings.count(), 0, "all of them together");
    assert!(taken.a_hz.is_some_and(|a_hz| (a_hz - 440.0).abs() < 1.0), "{:?}", taken.a_hz);
    // From the places of the demo's kit and microphones, at 343.2 m/s, in whole frames of 48 kHz: the kick is 1.818 m from
    // either, the snare 1.354 m from the nearer one.
    for (drum, delay) in [("stems/kick.wav", "5.29 ms"), ("stems/snare.wav", "3.94 ms")] {
        let found = taken.findings.iter().find(|finding| finding.code == "drum-delay" && finding.at == drum);
        assert!(found.is_some_and(|finding| finding.message.contains(delay)), "{drum}: {found:?}");
    }
}
