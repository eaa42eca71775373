// Made by `cargo run -p desk --example protocol` from crates/desk/src/protocol.rs. Change that, not this.
export type Path = (string | number)[];
export type Plain = boolean | number | string | Plain[] | { [key: string]: Plain };
export type Operation = { op: "add" | "replace"; path: string; value: unknown } | { op: "remove"; path: string };
export type Edit =
  | { edit: "set"; path: Path; value: Plain }
  | { edit: "insert"; path: Path; at: number; value: Plain }
  | { edit: "remove"; path: Path }
  | { edit: "move"; path: Path; to: number }
  | { edit: "rename"; from: string; to: string };
export type View = {
/** The song and the state of its sheet. */
song: Song,
/** Named passages, in order. */
sections: Array<Section>,
/** Stems, then buses, in the order of the sheet. */
nodes: Array<Node>,
/** What is printed. */
prints: Array<Print>,
/** Names of references. */
references: Array<string>,
/** What was printed before, newest first, then versions that were rendered to be heard. */
earlier: Array<Earlier>,
/** What is heard, and how. */
hearing: Hearing,
/** The machine's sound device that plays; none where the page does. */
device: string | null,
/** Codecs that it can be heard through. */
codecs: Array<Codec>,
/** What is heard of the network. */
ear: Ear,
/** What is wrong with the sheet or worth knowing. */
findings: Array<Finding>,
/** Whether the sheet is still the one that advice was given on; none while nobody has asked for any. */
advice_holds: boolean | null,
/** What listeners have written, by time. */
notes: Array<Note>,
/** Versions of the sheet that were kept, the newest first. */
versions: Array<Version>,
/** Processors that a chain can take: name and title. */
catalogue: Array<Offer>, };
export type Song = {
/** Title. */
title: string,
/** Artist. */
artist: string,
/** Sample rate. */
rate_hz: number,
/** Length without the tail. */
length_s: number,
/** How long it sounds on. */
tail_s: number,
/** Name of the sheet's file. */
sheet: string,
/** Whether something was changed since it was saved. */
unsaved: boolean,
/** What undoing would take back, in words. */
undo: string | null,
/** What would be done again. */
redo: string | null,
/** Whether the file was changed by somebody else while changes here are unsaved. */
changed_outside: boolean,
/** Whether changes of an earlier session were never saved and can be taken up. */
unsaved_before: boolean, };
export type Section = {
/** Name. */
name: string,
/** Start. */
from_s: number, };
export type Role = "source" | "bus" | "return";
export type Node = {
/** Name. */
name: string,
/** What it is on the map. */
role: Role,
/** The bus it goes to. */
to: string | null,
/** Buses that get a copy. */
sends: Array<string>,
/** Whether the sheet silences it. */
mute: boolean,
/** Whether silence in it is no fault. */
expect_silence: boolean,
/** Its card. */
card: Card, };
export type Print = {
/** Name. */
name: string,
/** The bus it draws from. */
from: string,
/** Its card. */
card: Card, };
export type Card = {
/** Where its chain stands in the sheet: entries are put there. */
chain: (string | number)[],
/** What it does beside its chain. */
sentence: Array<Phrase>,
/** Its copies to other buses. */
sends: Array<Send>,
/** Its processors, in order. */
processors: Array<Processor>,
/** Numbers that move over the song. */
rides: Array<Ride>, };
export type Send = {
/** Where it stands in the sheet. */
path: (string | number)[],
/** The bus. */
to: string,
/** How it is taken. */
sentence: Array<Phrase>, };
export type Processor = {
/** Where it stands in the sheet. */
path: (string | number)[],
/** Its name in the sheet. */
name: string,
/** Its name in text. */
title: string,
/** What it is for. */
summary: string,
/** What to be careful about. */
caution: string,
/** Whether it is taken out. */
off: boolean,
/** Where its figure is, if it has one; another address for other settings. */
figure: string | null,
/** Its settings. */
sentence: Array<Phrase>,
/** What it listens to, if that can be something else than its own input. */
key: Key | null,
/** Parameters that the sentence does not name. */
more: Array<Control>,
/** What its rows are called, if it has rows: `bands`, `band`. */
rows_name: [string, string] | null,
/** Its rows. */
rows: Array<Row>, };
export type Key = {
/** Where it stands in the sheet. */
path: (string | number)[],
/** The stem or bus; none for its own input. */
of: string | null, };
export type Row = {
/** Where it stands in the sheet. */
path: (string | number)[],
/** Its settings. */
sentence: Array<Phrase>,
/** Parameters that the sentence does not name. */
more: Array<Control>, };
export type Ride = {
/** Where it stands in the sheet. */
path: (string | number)[],
/** What moves, as the sheet writes it: `level_db`. */
what: string,
/** Times in seconds and values. */
points: Array<[number, number]>, };
export type Phrase = {
/** Whether everything in it is at rest: the sentence is whole without it. */
at_rest: boolean,
/** Words and controls. */
pieces: Array<Piece>, };
export type Piece = { "words": string } | { "control": Control };
export type Control = {
/** Where it stands in the sheet. */
path: (string | number)[],
/** Its name in plain words: `threshold`. */
name: string,
/** What it does to the sound. */
sentence: string,
/** What it takes, and its value. */
takes: Takes,
/** Whether a ride moves it: the value here does not count. */
ridden: boolean, };
export type Takes = { "kind": "number",
/** Value. */
value: number,
/** Symbol of its unit, or nothing. */
unit: string,
/** Least. */
low: number,
/** Greatest. */
high: number,
/** Value at rest. */
rest: number,
/** Whether equal ratios, not equal steps, sound alike (frequencies, times). */
by_ratio: boolean, } | { "kind": "choice",
/** The word. */
value: string,
/** All words. */
options: Array<string>, } | { "kind": "switch",
/** State. */
value: boolean, } | { "kind": "file",
/** Path, if one is named. */
value: string | null, };
export type Earlier = {
/** Its name among the programmes. */
name: string,
/** The print. */
print: string,
/** The revision, `r002`, or the version's name. */
revision: string,
/** What the run was called. */
label: string | null,
/** Whether it is a version of the sheet, rendered to be heard. */
is_version: boolean, };
export type Offer = {
/** Its name in the sheet. */
name: string,
/** Its name in text. */
title: string,
/** What it is for. */
summary: string, };
export type Note = {
/** Its letter on the strip. */
letter: string,
/** Where it stands in the song as it is now. */
at_s: number,
/** Where it ends, for a span. */
to_s: number | null,
/** Who wrote it. */
who: string,
/** The print that was heard. */
version: string,
/** What it says. */
text: string,
/** `open`, `done` or `declined`. */
state: string,
/** What the engineer says to it. */
answer: string | null, };
export type Version = {
/** Its name. */
name: string,
/** When it was kept: seconds since 1970, universal time. */
kept_s: number, };
export type Finding = {
/** `note`, `warn` or `fail`. */
severity: string,
/** Code. */
code: string,
/** What it is about. */
at: string,
/** What is the matter. */
message: string,
/** What to do. */
remedy: string,
/** Where in the song, if it is about a place in it. */
at_s: number | null,
/** The revision that it was found in; none for what is found in the sheet as it is now. */
revision: string | null,
/** Whether advice has found it. */
advised: boolean, };
export type Hearing = {
/** Name of a print, a reference or a print of before. */
programme: string,
/** Whether all are turned down to the loudness of the quietest. */
matched: boolean,
/** What it is heard through. */
through: Through,
/** Passage that is played over and over, in seconds. */
span_s: [number, number] | null,
/** Level of listening. */
monitor_db: number, };
export type Through = "nothing" | "mono" | "side" | "small-speaker" | `${string} ${number}`;
export type Codec = {
/** Its name here and in the sheet. */
name: string,
/** Its name in text. */
title: string,
/** Its rates in kilobits a second. */
kbps: Array<number>, };
export type Ear = {
/** Nodes that are heard alone, in their place. */
alone: Array<string>,
/** Nodes that are silent. */
silent: Array<string>,
/** Processors that are left out: node or print, and place in its chain. */
without: Array<[string, number]>, };
export type Compared = {
/** Name of a print or reference. */
programme: string,
/** Whether all of the network is heard, or what is heard of it now. */
all: boolean,
/** What it is heard through. */
through: Through, };
export type Unknown = "a" | "b" | "x";
export type Blindly = { "act": "begin",
/** A and B. */
sides: [Compared, Compared],
/** How many rounds it has. */
rounds: number, } | { "act": "hear",
/** Which. */
what: Unknown, } | { "act": "answer",
/** Whether it is A. */
is_a: boolean, } | { "act": "leave" };
export type Blind = {
/** What A and B are, in words. */
sides: [string, string],
/** The passage, in seconds. */
passage_s: [number, number],
/** Rounds. */
rounds: number,
/** Rounds that are answered. */
answered: number,
/** Whether both have been rendered. */
ready: boolean,
/** What is heard. */
hears: Unknown | null,
/** What it says, once all is answered. */
outcome: string | null, };
export type BlindBefore = {
/** When it ended. */
written: string,
/** What A and B were. */
sides: [string, string],
/** What it says. */
outcome: string, };
export type Opened = {
/** Name of a stem, bus or print. */
name: string,
/** Start of the passage. */
from_s: number,
/** Its end. */
to_s: number, };
export type Asked = { "ask": "play" } | { "ask": "pause" } | { "ask": "seek",
/** Seconds from the start of the song. */
to_s: number, } | { "ask": "hear",
/** All of it. */
hearing: Hearing, } | { "ask": "listen",
/** All of it. */
ear: Ear, } | { "ask": "edit",
/** Changes, one after the other: all are made, or none. */
edits: Edit[],
/** What is done, in words, for undoing. */
words: string,
/** Whether it goes on with the change before, as while a number is drawn. */
goes_on: boolean, } | { "ask": "undo" } | { "ask": "redo" } | { "ask": "save" } | { "ask": "reload" } | { "ask": "recover" } | { "ask": "open",
/** The card and the passage. */
opened: Opened, } | { "ask": "keep",
/** The name. */
name: string, } | { "ask": "differ",
/** Its name. */
name: string, } | { "ask": "take",
/** Its name. */
name: string, } | { "ask": "render",
/** Its name. */
name: string, } | { "ask": "advise" } | { "ask": "view" } | { "ask": "print" } | { "ask": "room",
/** What it reads at the ears while the song plays, in dBA; none to forget it. */
dba: number | null, } | { "ask": "blind",
/** What. */
blindly: Blindly, };
export type Told = { "tell": "view",
/** Counts views. */
number: number,
/** The view. */
view: View, } | { "tell": "changed",
/** The number of the view as it is now. */
number: number,
/** RFC 6902. */
patch: Operation[], } | { "tell": "now",
/** The state. */
now: Now, } | { "tell": "sounds",
/** It. */
sounds: Sounds, } | { "tell": "exposure",
/** In sentences; none while nobody has measured. */
sentence: string | null, } | { "tell": "blind",
/** It, if there is one. */
blind: Blind | null,
/** Those that were held before, newest first. */
before: Array<BlindBefore>, } | { "tell": "differs",
/** It. */
differs: Differs, } | { "tell": "adds",
/** It. */
adds: Adds, } | { "tell": "refused",
/** Why, and what to do. */
finding: Finding, } | { "tell": "progress",
/** What is done. */
what: string,
/** The part that is done, 0 to 1. */
part: number, } | { "tell": "printed",
/** The revision: `r003`. */
revision: string,
/** Whether no finding stands in the way. */
sound: boolean, };
export type Now = {
/** Whether it plays. */
playing: boolean,
/** Place in the song. */
at_s: number,
/** For each node of the view: momentary and short-term loudness at its output. */
nodes: Array<[number | null, number | null]>,
/** For each print, then each reference. */
programmes: Array<[number | null, number | null]>,
/** Gain reduction: node or print, place in its chain, dB. */
reductions: Array<[string, number, number]>,
/** What is heard, ahead of matching and monitor level. */
heard: Meters,
/** Gain of matching, without the monitor level. */
matched_db: number,
/** Whether the plain sound is heard because what a codec makes of it is not there yet. */
plain: boolean,
/** The part of its time that 10 ms of sound took to compute since the last report: on average, at worst, and at worst
 * without what it waited for the processor. */
effort: [number, number, number],
/** How often sound waited for recordings that came late from the disk. */
late: number, };
export type Meters = {
/** Momentary loudness. */
momentary_lufs: number | null,
/** Short-term loudness. */
short_term_lufs: number | null,
/** Integrated loudness. */
integrated_lufs: number | null,
/** Loudness range. */
loudness_range_lu: number | null,
/** Highest true peak. */
true_peak_dbtp: number | null,
/** Peak over short-term loudness, of the last 3 s. */
psr_db: number | null,
/** Correlation of left and right in the last 0.4 s. */
correlation: number | null,
/** The same in each octave, with its middle in Hz. */
octave_correlations: Array<[number, number | null]>, };
export type Sounds = {
/** Steps a second in the histories. */
a_second: number,
/** Prints, then references. */
programmes: Array<Sound>,
/** Stems and buses. */
nodes: Array<Sound>, };
export type Sound = {
/** Its name. */
name: string,
/** Integrated loudness. */
integrated_lufs: number | null,
/** Loudness range. */
loudness_range_lu: number | null,
/** True peak. */
true_peak_dbtp: number | null,
/** Momentary loudness, from the first frame on. */
momentary_lufs: Array<number | null>, };
export type Differs = {
/** The version. */
name: string,
/** Where, and what, in words. */
changes: Array<[string, string]>, };
export type Adds = {
/** Name of the stem, bus or print. */
name: string,
/** What was heard of the passage. */
span_s: [number, number],
/** The print that it was heard in; none if it reaches no print. */
print: string | null,
/** The print with it against the print without it. */
whole: Figures,
/** The bus that it joins, and its loudness there over that of all else. */
over_rest: [string, number] | null,
/** Each processor of its chain; none for one that is taken out. */
processors: Array<Added | null>, };
export type Added = {
/** Behind it against ahead of it. */
in_place: Figures,
/** The print with it against the print without it. */
in_print: Figures, };
export type Figures = {
/** It as a sentence. */
sentence: string,
/** Integrated loudness. */
loudness_lu: number | null,
/** Level below 250 Hz, from there to 4 kHz, and above. */
low_mid_high_db: [number | null, number | null, number | null],
/** Crest factor. */
crest_db: number | null,
/** Side over mid. */
width_db: number | null, };
