"""Driver files: what the grammar takes, and what it says about everything else."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from autobench.documents.driver import Driver
from autobench.documents.driver_roles import DECODER_KEYS, DECODERS, ROLES, SECTIONS
from autobench.documents.loader import parse
from autobench.documents.places import folder
from autobench.documents.reading import model_of, read
from autobench.errors import FileError
from autobench.quantity import Quantity, Span

PS_3 = folder("drivers") / "supplies" / "ps-3.yaml"
M_1 = folder("drivers") / "meters" / "m-1.yaml"
W_1 = folder("drivers") / "relays" / "w-1.yaml"
O_1B = folder("drivers") / "scopes" / "o-1b.yaml"


def mistakes(text: str) -> list[str]:
    """Every mistake of a driver file with this text, as `line: words`."""
    tree, found = parse(text.encode(), "d.yaml")
    try:
        model_of(tree, Driver, found)
    except FileError as error:
        return [f"{mistake.line}: {mistake.text}" for mistake in error.mistakes]
    return []


def edited(source: Path, old: str, new: str) -> tuple[str, int]:
    """A shipped file with one text replaced, and the line it stands on."""
    text = source.read_text(encoding="utf-8")
    assert text.count(old) == 1
    return text.replace(old, new), text[: text.index(old)].count("\n") + 1


def mistake_of(source: Path, old: str, new: str) -> str:
    """The one mistake after an edit, which must be reported on the edited line; without the line."""
    text, line = edited(source, old, new)
    found = mistakes(text)
    assert len(found) == 1, found
    number, _, words = found[0].partition(": ")
    assert int(number) == line, found
    return words


def test_a_shipped_supply_file_is_read_into_base_units() -> None:
    """Quantities become base units, spans keep both ends, lines stay as written."""
    driver = read(PS_3, Driver)
    assert driver.outputs is not None
    assert driver.outputs.volts == Span(0.0, 20.0, "V")
    assert driver.outputs.rise == Quantity(0.05, "s")
    assert driver.places == (1, 2, 3)
    assert driver.actions["set volts"].say == ("VOLT {value},(@{channel})",)
    assert driver.actions["tripped?"].bits == (9, 10)
    trust = driver.actions["volts?"].trust
    assert trust is not None
    assert trust.of_reading == pytest.approx(0.0005)
    assert trust.plus == Quantity(0.005, "V")


def test_an_unknown_action_is_named_with_the_nearest_known_one() -> None:
    """A misspelt required action is one mistake, not also a missing one."""
    words = mistake_of(PS_3, "  set amps:  ", "  set apms:  ")
    assert words.startswith("actions > set apms: a supply driver has no such action; allowed are remote, local, ")
    assert words.endswith("did you mean 'set amps'?")


def test_missing_required_actions_come_as_one_list() -> None:
    """Everything a supply must be able to do and this one cannot stands in one sentence."""
    text = PS_3.read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if not line.startswith(("  on:", "  off:"))]
    found = mistakes("\n".join(kept))
    assert [words.partition(": ")[2] for words in found] == ["actions: a supply driver must have 'on', 'off' too"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "kind: supply",
            "kind: suply",
            "kind: 'suply' is not known here; allowed are supply, meter, relays, scope, counter; "
            "did you mean 'supply'?",
        ),
        ("  pace: 0 s", "  pace: 0", "link > pace: '0' lacks its unit; write it as '0 s'"),
        (
            "  pace: 0 s",
            "  pase: 0 s",
            "unknown key 'pase' under link; allowed are ends, silence, prompts, block ends, reply within, "
            "pace, common commands, joined questions, errors; "
            "did you mean 'pace'?",
        ),
        (
            'receive: "\\n"',
            'receive: "end"',
            'link > ends > receive: \'end\' is not a line end; allowed are "\\n", "\\r\\n", "\\r" and ""',
        ),
        (
            "channels: 1, 2, 3",
            "channels: 1, 2, 2",
            "outputs > channels: '1, 2, 2' names a number twice, or too many of them",
        ),
        (
            "channels: 1, 2, 3",
            "channels: one",
            "outputs > channels: 'one' is not a number or a range such as '101 .. 120'",
        ),
        (
            "volts: 0 V .. 20 V ",
            "volts: at most 20 V ",
            "outputs > volts: a rating has both ends; write it as 'low .. high'",
        ),
        ("answer: bit, bit: 1", "answer: bit", "actions > limiting?: the answer 'bit' needs 'bit'"),
        (
            "answer: bit, bit: 1",
            "answer: bit, bit: 1, word: CC",
            "actions > limiting? > word: the answer 'bit' has no use for it",
        ),
        (
            "answer: bit, bit: 1",
            "answer: bit, bit: 32",
            "actions > limiting? > bit: '32' is out of range; 0 to 31 is allowed",
        ),
        (
            "answer: bit, bit: 1",
            "answer: bitt, bit: 1",
            "actions > limiting? > answer: 'bitt' is not known here; allowed are number, numbers, text, "
            "truth, truths, error, event error, bit, bit clear, any bit, raw bit, raw bit clear, word, "
            "digits, digit, channel list, channel mask, preamble, scaling, descriptor, block; did you mean 'bit'?",
        ),
        (
            "answer: bit, bit: 1",
            "answer: number",
            "actions > limiting? > answer: 'number' does not fit this action; "
            "fitting: truth, bit, bit clear, any bit, raw bit, raw bit clear, word, digit",
        ),
        ("span: 0 V .. 20.5 V", "span: 0 A .. 20.5 A", "actions > set volts > span: must be in V"),
        (
            "span: 0 V .. 20.5 V, digits: 3",
            "digits: 3",
            "actions > set volts: 'span' is needed: the values the instrument accepts",
        ),
        (
            "span: 0 V .. 20.5 V, digits: 3",
            "span: 0 V .. 20.5 V",
            "actions > set volts: 'digits' is needed: how many decimal places {value} is sent with",
        ),
        ("VOLT {value},(@{channel})", "VOLT {volts},(@{channel})", None),
        ('"VOLT {value},(@{channel})"', '"VOLT {value}"', "actions > set volts: one of the lines must have {channel}"),
        (
            '"VOLT {value},(@{channel})"',
            '"VOLT {value,(@{channel})"',
            "actions > set volts > say: 'VOLT {value,(@{channel})' has a brace without its partner",
        ),
        ('"VOLT {value},(@{channel})"', '"VOLT {value},(@{channel})\\n"', None),
        (
            'on?:         {ask: "OUTP? (@{channel})", answer: truth}',
            'on?:         {ask: "OUTP? (@{channel})"}',
            "actions > on?: 'ask' and 'answer' go together",
        ),
        (
            '{say: "OUTP:PROT:CLE (@{channel})"}',
            '{ask: "OUTP:PROT:CLE (@{channel})", answer: text}',
            "actions > clear trip > ask: this action sets something; it has 'say' and no 'ask'",
        ),
        (
            '{say: "OUTP:PROT:CLE (@{channel})"}',
            '{say: "OUTP:PROT:CLE (@{channel})", digits: 2}',
            "actions > clear trip > digits: this action takes no value",
        ),
        (
            'ON,(@{channel})", wait: {complete: "*OPC?"}',
            'ON,(@{channel})", wait: {poll: "*OPC?"}',
            "actions > on > wait: 'poll' and 'until' go together",
        ),
        (
            "    trust: {of reading: 0.15 %, plus: 5 mA, resolution: 1 mA}",
            "    trust: {of reading: 0.15 V}",
            "actions > amps? > trust > of reading: '0.15 V' is not a share; write it in % or ppm",
        ),
        (
            "    trust: {of reading: 0.15 %, plus: 5 mA, resolution: 1 mA}",
            "    trust: {plus: 5 mV}",
            "actions > amps? > trust > plus: must be in A",
        ),
        (
            "trust: {of reading: 0.15 %, plus: 5 mA, resolution: 1 mA}",
            "trust: {of reading: 0 %}",
            "actions > amps? > trust: says nothing; give 'of reading', 'of range', 'plus' or 'resolution'",
        ),
        (
            'clear: {say: "*CLS"}',
            'clear: {say: "*CLS", trust: {of reading: 1 %}}',
            "clear > trust: this action measures nothing that 'trust' could be about",
        ),
        (
            "answer: error}",
            "answer: text}",
            "link > errors > answer: 'text' does not fit this action; fitting: error, event error",
        ),
    ],
)
def test_a_wrong_supply_file_is_refused_with_words_at_its_line(old: str, new: str, words: str | None) -> None:
    """Each wrong edit of a good file gives a mistake on that line, and the words say what to do."""
    text, line = edited(PS_3, old, new)
    found = mistakes(text)
    assert found
    assert {each.partition(": ")[0] for each in found} == {str(line)}
    if words is not None:
        assert found == [f"{line}: {words}"]


def test_a_placeholder_nobody_fills_is_named_with_those_that_are() -> None:
    """An unknown placeholder and the one it displaced are both reported."""
    text, line = edited(PS_3, "VOLT {value},(@{channel})", "VOLT {volts},(@{channel})")
    assert mistakes(text) == [
        f"{line}: actions > set volts: nothing fills {{volts}} here; allowed: {{value}}, {{channel}}",
        f"{line}: actions > set volts: one of the lines must have {{value}}",
    ]


def test_a_measuring_action_must_say_how_far_it_can_be_off() -> None:
    """Without `trust` a supply's read-back has no uncertainty, so the file is refused."""
    text, _ = edited(PS_3, "    trust: {of reading: 0.15 %, plus: 5 mA, resolution: 1 mA}\n", "")
    assert [each.partition(": ")[2] for each in mistakes(text)] == [
        "actions > amps?: this action measures, so it needs 'trust': how far its readings can be off"
    ]


@pytest.mark.parametrize(
    ("source", "old", "new", "words"),
    [
        (
            M_1,
            "range: 1 V,  ",
            "range: 0.1 V,",
            "measures > volts > ranges > item 2 > range: ranges stand from the smallest up",
        ),
        (M_1, "range: 1 V,  ", "range: 1 A,  ", "measures > volts > ranges > item 2 > range: must be in V"),
        (
            M_1,
            "over range: 20 %",
            "over range: 2 V",
            "measures > over range: '2 V' is not a share; write it in % or ppm",
        ),
        (
            M_1,
            "{fast: 0.2, normal: 1, slow: 10}",
            "{fast: 0.2, normal: 1}",
            "the key 'slow' is missing under measures > speeds",
        ),
        (M_1, "  ohms:       {say:", "  omhs:       {say:", None),
        (
            M_1,
            'NPLC {cycles}"], wait: {complete: "*OPC?"}}\n  ohms: ',
            'NPLC 1"], wait: {complete: "*OPC?"}}\n  ohms: ',
            "actions > volts: one of the lines must have {cycles}",
        ),
        (W_1, "ROUT:CLOS? (@{channels})", "ROUT:CLOS? (@{channel})", None),
        (
            W_1,
            "numbers: 101 .. 180",
            "numbers: 180 .. 101",
            "channels > numbers: '180 .. 101' is not a range from low to high",
        ),
    ],
)
def test_wrong_meter_and_relay_files_are_refused(source: Path, old: str, new: str, words: str | None) -> None:
    """The other kinds are held to their own tables in the same way."""
    text, line = edited(source, old, new)
    found = mistakes(text)
    assert found
    if words is not None:
        assert found == [f"{line}: {words}"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("codes: 25   ", "codes: 40   ", "samples > codes: 8 bits have too few codes for 8 divisions"),
        (
            "scale: 1 mV .. 10 V  ",
            "scale: at most 10 V  ",
            "samples > scale: has both ends, above zero; write it as 'low .. high'",
        ),
        (
            "time scale: 5 ns .. 50 s ",
            "time scale: 0 s .. 50 s  ",
            "samples > time scale: has both ends, above zero; write it as 'low .. high'",
        ),
        (
            "highest rate: {1: 1 GSa/s, 2: 500 MSa/s, 4: 250 MSa/s}",
            "highest rate: {1: 1 GSa/s, 2: 500 MSa/s}",
            "samples > highest rate: must say what holds with all 4 channels on, and no more than those",
        ),
        (
            "highest rate: {1: 1 GSa/s, 2: 500 MSa/s, 4: 250 MSa/s}",
            "highest rate: {4: 250 MSa/s, 2: 500 MSa/s}",
            "samples > highest rate: stands from one channel upwards",
        ),
        ("2: 1000, 3000,", "2: 3000, 1000,", "samples > memory > 2: depths stand from the smallest up"),
        ("2: 1000, 3000,", "2: 1 k, 10000,", "samples > memory > 2: '1 k' is not a whole number"),
        (
            "origin: codes",
            "origin: code",
            "samples > origin: 'code' is not known here; allowed are codes, volts; did you mean 'codes'?",
        ),
        (
            "positive offset: up",
            "positive offset: left",
            "samples > positive offset: 'left' is not known here; allowed are up, down",
        ),
        ("probe: factor", "probe: 10", "samples > probe: '10' is not known here; allowed are factor, gain"),
        (
            "{of full scale: 2 %, of division: 10 %, plus: 2 mV, time base: 25 ppm}",
            "{of division: 10 %, plus: 2 mV, time base: 25 ppm}",
            "samples > trust: says nothing about the gain; give 'of reading' or 'of full scale'",
        ),
        (
            "{of full scale: 2 %, of division: 10 %, plus: 2 mV, time base: 25 ppm}",
            "{of full scale: 2 %, time base: 25 ppm}",
            "samples > trust: says nothing about the offset; give 'of division' or 'plus'",
        ),
        (
            "{of full scale: 2 %, of division: 10 %, plus: 2 mV, time base: 25 ppm}",
            "{of full scale: 2 %, of division: 10 %, plus: 2 mA, time base: 25 ppm}",
            "samples > trust > plus: must be in V",
        ),
        (
            "{of full scale: 2 %, of division: 10 %, plus: 2 mV, time base: 25 ppm}",
            "{of full scale: 2 %, of division: 10 %, plus: 2 mV}",
            "the key 'time base' is missing under samples > trust",
        ),
        (
            'preamble?:       {ask: ":WAV:PRE?", answer: preamble}',
            'preamble?:       {ask: ":WAV:PRE?", answer: numbers}',
            "actions > preamble? > answer: 'numbers' does not fit this action; fitting: preamble, scaling, descriptor",
        ),
        (
            'data?:           {ask: ":WAV:DATA?", answer: block}',
            'data?:           {ask: ":WAV:DATA?", answer: text}',
            "actions > data? > answer: 'text' does not fit this action; fitting: block",
        ),
        (
            "answer: word, word: STOP",
            "answer: word",
            "actions > done?: the answer 'word' needs 'word'",
        ),
        (
            ":CHAN{channel}:PROB {factor}",
            ":CHAN{channel}:PROB 10",
            "actions > probe: one of the lines must have {factor}",
        ),
        (
            ':TIM:SCAL {value}", span: 5 ns .. 50 s',
            ':TIM:SCAL {value}", span: 5 nV .. 50 V',
            "actions > set time scale > span: must be in s",
        ),
        (
            "answer: number, unit: Sa/s",
            "answer: number, unit: Hz",
            "actions > sample rate? > unit: this action is in Sa/s",
        ),
    ],
)
def test_a_wrong_scope_file_is_refused_with_words_at_its_line(old: str, new: str, words: str) -> None:
    """Ratings that contradict each other, words that are not known and actions of the wrong shape."""
    assert mistake_of(O_1B, old, new) == words


def test_a_shipped_scope_file_is_read_into_base_units() -> None:
    """Memory and highest rate go by channels in use; what is said for four holds for three."""
    driver = read(O_1B, Driver)
    samples = driver.samples
    assert samples is not None
    assert driver.places == (1, 2, 3, 4)
    assert samples.time_scale == Span(5e-9, 50.0, "s")
    assert samples.depths(1)[-1] > samples.depths(2)[-1] > samples.depths(3)[-1] == samples.depths(4)[-1]
    assert samples.fastest(3) == samples.fastest(4) == 250e6
    assert samples.full_scale == 255
    assert samples.trust.time_base == pytest.approx(25e-6)
    with pytest.raises(ValueError, match="5 channels are on; there are 4"):
        samples.depths(5)


def test_a_section_of_another_kind_is_refused() -> None:
    """A relay driver with a supply's ratings is told where they belong."""
    text = W_1.read_text(encoding="utf-8")
    extra = "outputs: {channels: 1, volts: 0 V .. 1 V, amps: 0 A .. 1 A, rise: 1 s, fall: 1 s}\n"
    found = mistakes(text + extra)
    assert [each.partition(": ")[2] for each in found] == [
        "outputs: belongs to a supply driver; this is a relays driver"
    ]


def test_a_file_without_its_ratings_is_refused() -> None:
    """The planner needs ratings before any instrument is asked, so their section is required."""
    text = PS_3.read_text(encoding="utf-8")
    kept = text[: text.index("outputs:")] + text[text.index("actions:") :]
    assert "kind: a supply driver needs the section 'outputs'" in {each.partition(": ")[2] for each in mistakes(kept)}


def test_one_output_needs_no_channel_number() -> None:
    """A supply with a single output may leave {channel} out of every line."""
    text = PS_3.read_text(encoding="utf-8").replace("channels: 1, 2, 3", "channels: 1")
    assert mistakes(text.replace(",(@{channel})", "").replace(" (@{channel})", "")) == []


def test_what_is_lacking_is_told_by_name() -> None:
    """Absent optional abilities are data; an absence that follows from another is not counted twice."""
    text = PS_3.read_text(encoding="utf-8")
    dropped = ("  set trip:", "  set trip?:", "  clear trip:", "  limiting?:", "  on?:")
    kept = "\n".join(line for line in text.splitlines() if not line.startswith(dropped))
    driver = model_of(parse(kept.encode(), "d.yaml")[0], Driver)
    assert driver.missing() == ("trip", "on read-back", "limiting flag")
    assert read(PS_3, Driver).missing() == ()


def test_every_kind_of_the_grammar_has_a_table_and_a_section() -> None:
    """The words a file may use for kinds and decoders are those of the tables, no more and no fewer."""
    kinds = Driver.model_json_schema()["properties"]["kind"]["enum"]
    assert set(kinds) == set(ROLES) == set(SECTIONS)
    answers = Driver.model_json_schema()["$defs"]["Action"]["properties"]["answer"]["anyOf"][0]["enum"]
    assert set(answers) == set(DECODERS)
    assert set(DECODER_KEYS) <= set(DECODERS)
    for role in ROLES.values():
        for name, signature in role.items():
            assert signature.words
            assert not signature.only_with or signature.only_with in role
            assert name.endswith("?") == bool(signature.answers)


def test_a_driver_file_is_read_by_a_plain_yaml_reader_too() -> None:
    """The shipped files are ordinary YAML: other programs may read them."""
    for path in (PS_3, M_1, W_1, O_1B):
        assert yaml.safe_load(path.read_text(encoding="utf-8"))["driver"] == path.stem


PS_5 = folder("drivers") / "supplies" / "ps-5.yaml"
PS_6 = folder("drivers") / "supplies" / "ps-6.yaml"
PS_7 = folder("drivers") / "supplies" / "ps-7.yaml"
W_2 = folder("drivers") / "relays" / "w-2.yaml"
M_2 = folder("drivers") / "meters" / "m-2.yaml"
O_1A = folder("drivers") / "scopes" / "o-1a.yaml"


@pytest.mark.parametrize(
    ("source", "old", "new", "words"),
    [
        (
            PS_5,
            'ends: {send: "", receive: ""}\n  silence: 50 ms ',
            'ends: {send: "", receive: ""}\n  silence: 0 s   ',
            "link > ends: without a line end to receive, 'silence' must say what ends a reply",
        ),
        (
            PS_5,
            "on:          {say: ",
            "on:          {length: 3, say: ",
            "only an answer that is no block can have a length",
        ),
        (PS_5, '{say: "OUT0"}', '{say: "OUT0", width: 5}', "this action takes no value"),
        (M_2, "called: 1, drives", "kalled: 1, drives", "unknown key 'kalled'"),
        (M_2, "overload: 1e9", "overload: 0", "measures > overload"),
        (PS_6, 'layout: "##.##_____"', 'layout: "##:##_____"', "'##:##_____' is no layout of a reply, such as"),
        (PS_6, 'layout: "##.##_____"', 'layout: "_________"', "'_________' is no layout of a reply, such as"),
        (PS_6, ', layout: "________#"}\n\n', "}\n\n", "the answer 'digit' needs 'layout'"),
        (PS_6, '{say: "SOUT1"}', '{say: "SOUT1", point: no}', "this action takes no value"),
        (PS_6, 'done: "OK", echo: no', 'done: "OK", echo: no, line end: no', "only a single prompt of one that echoes"),
        (PS_7, 'clear trip:  {say: "TRIPRST"}', 'clear trip:  {say: "TRIPRST", twice: yes}', "nothing is asked"),
        (W_2, '"{slot}!{position}"', '"{slot}!{place}"', "needs {slot} and {position}, and nothing else in braces"),
        (W_2, 'between: ","', 'counted from: 0\n  between: ","', "a channel is written in one way; delete this"),
        (O_1A, "chunk: 4000000", "chunk: 1000000", "must hold a whole record of 4000000 points"),
    ],
)
def test_what_the_new_manners_ask_for(source: Path, old: str, new: str, words: str) -> None:
    """Silences, lengths, widths, names of ranges, whole records: each mistake in words."""
    text, _ = edited(source, old, new)
    found = mistakes(text)
    assert len(found) == 1, found
    assert words in found[0]


def test_refusals_need_a_way_to_see_them() -> None:
    """A line an instrument must refuse is of no use where nothing tells that it did."""
    text, _ = edited(PS_5, "identity:", 'refuses: ["X"]\nidentity:')
    assert any("a refusal is seen in the errors; 'link' has no 'errors' to ask" in found for found in mistakes(text))


def test_negative_outputs_are_outputs() -> None:
    """An output that counts down must be one there is."""
    text, _ = edited(folder("drivers") / "supplies" / "ps-2.yaml", "negative: 3", "negative: 4")
    assert any("names an output that is not one of 'channels'" in found for found in mistakes(text))
