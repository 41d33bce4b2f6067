"""Wrong files: one of the files in `base/` with one thing changed, and exactly what lint says about all of them."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

# File, what stands in it, what is written instead, and the lines that follow.
WRONG_FILES: list[tuple[str, str, str, list[str]]] = [
    ("corner.yaml", "driver: ps-x,", "driver: ps-xx,", [
        "corner.yaml:6:17: instruments > psu > driver: no driver is named 'ps-xx'; allowed are k-1, k-2, m-1, m-2, o-1a, o-1b, o-2, o-3a, o-3b, ps-1, ps-2, ps-3, ps-4, ps-5, ps-6, ps-7, w-1, w-2, w-3, w-4; did you mean 'ps-7'?",
    ]),
    ("corner.yaml", "driver: m-1,", "driver: ps-x,", [
        "corner.yaml:27:11: routes > slots > meter high: 'meter' must be a meter, but its driver 'ps-x' is that of a supply",
        "corner.yaml:27:26: routes > slots > meter low: 'meter' must be a meter, but its driver 'ps-x' is that of a supply",
        "short.yaml:6:14: steps > item 1 > measure: no instrument can do this: bench 'corner' has no meter that reads ohms",
        "short.yaml:16:5: steps > item 4 > measure: no instrument can do this: bench 'corner' has no meter",
        "tail.yaml:6:14: steps > item 1 > measure: no instrument can do this: bench 'corner' has no meter",
    ]),
    ("corner.yaml", "driver: w-1,", "driver: m-1,", [
        "corner.yaml:26:11: routes > relays: 'relays' must be a relay multiplexer, but its driver 'm-1' is that of a meter",
    ]),
    ("corner.yaml", "driver: o-1b,", "driver: m-2,", [
        "corner.yaml:9:63: instruments > scope > probe: 'm-2' drives a meter; only a scope and a counter have probes",
        "corner.yaml:27:40: routes > slots > scope 1: 'scope' must be a scope, but its driver 'm-2' is that of a meter",
        "corner.yaml:27:52: routes > slots > scope 2: 'scope' must be a scope, but its driver 'm-2' is that of a meter",
        "corner.yaml:27:64: routes > slots > scope 3: 'scope' must be a scope, but its driver 'm-2' is that of a meter",
        "corner.yaml:27:76: routes > slots > scope 4: 'scope' must be a scope, but its driver 'm-2' is that of a meter",
        "short.yaml:21:14: steps > item 5 > measure: no instrument can do this: bench 'corner' has neither a scope nor a counter",
        "tail.yaml:10:14: steps > item 2 > measure: no instrument can do this: bench 'corner' has neither a scope nor a counter",
        "tail.yaml:15:14: steps > item 3 > measure: no instrument can do this: bench 'corner' has no scope",
    ]),
    ("corner.yaml", "    supply: psu\n    output: 1", "    supply: meter\n    output: 1", [
        "corner.yaml:12:13: feeds > +5V > supply: 'meter' must be a supply, but its driver 'm-1' is that of a meter",
    ]),
    ("corner.yaml", "    supply: psu\n    output: 1", "    supply: psv\n    output: 1", [
        "corner.yaml:12:13: feeds > +5V > supply: 'psv' is not an instrument of this bench; allowed are psu, meter, relays, scope; did you mean 'psu'?",
    ]),
    ("corner.yaml", "    output: 2", "    output: 3", [
        "corner.yaml:20:13: feeds > +12V > output: 'psu' has no output 3; its driver 'ps-x' knows 1, 2",
    ]),
    ("corner.yaml", "    output: 2", "    output: 1", [
        "corner.yaml:20:13: feeds > +12V > output: output 1 of 'psu' already feeds +5V",
    ]),
    ("corner.yaml", "volts: at most 5.5 V", "volts: at most 4.5 V", [
        "corner.yaml:14:12: feeds > +5V > volts: at most 4.500 V is too little for +5V of bread-2, 5.000 V",
    ]),
    ("corner.yaml", "volts: at most 13.5 V", "volts: at least -13.5 V", [
        "corner.yaml:21:12: feeds > +12V > volts: +12V of bread-2 is 12.00 V; at least -13.50 V has the other sign",
    ]),
    ("corner.yaml", "volts: at most 13.5 V", "volts: at most 60 V", [
        "corner.yaml:21:12: feeds > +12V > volts: 60.00 V is more than 30.00 V, all that 'ps-x' gives",
    ]),
    ("corner.yaml", "amps: at most 2 A", "amps: at most 20 A", [
        "corner.yaml:15:11: feeds > +5V > amps: 20.00 A is more than 3.000 A, all that 'ps-x' gives",
    ]),
    ("corner.yaml", "amps: at most 2 A", "amps: at most 2", [
        "corner.yaml:15:11: feeds > +5V > amps: '2' lacks its unit; write it as '2 A'",
    ]),
    ("corner.yaml", "TCPIP::psu::5025::SOCKET", "USB0::1::2::3::INSTR", [
        "corner.yaml:11:3: feeds > +5V: no guard can switch it off if this program dies (its connection belongs to one process); a person who takes that on writes 'accept: no guard' here",
        "corner.yaml:18:3: feeds > +12V: no guard can switch it off if this program dies (its connection belongs to one process); a person who takes that on writes 'accept: no guard' here",
    ]),
    ("corner.yaml", "TCPIP::meter::5025::SOCKET", "TCPIP::psu::5025::SOCKET", [
        "corner.yaml:7:33: instruments > meter > address: TCPIP::psu::5025::SOCKET is already the address of 'psu'",
    ]),
    ("corner.yaml", "simulated: no", "simulated: served", [
        "corner.yaml:6:32: instruments > psu > address: TCPIP::psu::5025::SOCKET is not a port of this machine; only those serve a simulated bench",
        "corner.yaml:7:33: instruments > meter > address: TCPIP::meter::5025::SOCKET is not a port of this machine; only those serve a simulated bench",
        "corner.yaml:8:34: instruments > relays > address: TCPIP::relays::5025::SOCKET is not a port of this machine; only those serve a simulated bench",
        "corner.yaml:9:34: instruments > scope > address: TCPIP::scope::5025::SOCKET is not a port of this machine; only those serve a simulated bench",
    ]),
    ("corner.yaml", "simulated: no", "simulated: false", [
        "corner.yaml:3:12: simulated: 'false' is not known here; allowed are in-process, served, no",
    ]),
    ("corner.yaml", "    when off: isolated", "    when of: isolated", [
        "corner.yaml:17:5: unknown key 'when of' under feeds > +5V; allowed are supply, output, display, volts, amps, leads, when off, instead of, compensate leads, accept; did you mean 'when off'?",
    ]),
    ("corner.yaml", "    leads: 60 mohm\n    when off: isolated", "    leads: 60 mV\n    when off: isolated", [
        "corner.yaml:16:12: feeds > +5V > leads: '60 mV' is in V, but ohm is wanted",
    ]),
    ("corner.yaml", "line frequency: 50 Hz", "line frequency: 55 Hz", [
        "corner.yaml:4:17: line frequency: 55.00 Hz is no mains frequency; write 50 Hz or 60 Hz",
    ]),
    ("corner.yaml", "scope 4: 6}", "scope 5: 6}", [
        "corner.yaml:27:76: routes > slots > scope 5: 'scope' has no channel 5; allowed are 1, 2, 3, 4",
    ]),
    ("corner.yaml", "scope 4: 6}", "scope 4: 5}", [
        "corner.yaml:27:85: routes > slots > scope 4: slot 5 already belongs to 'scope 3'",
    ]),
    ("corner.yaml", "scope 4: 6}", "scoop 4: 6}", [
        "corner.yaml:27:76: routes > slots > scoop 4: 'scoop' is not an instrument of this bench; allowed are psu, meter, relays, scope; did you mean 'scope'?",
    ]),
    ("corner.yaml", "    J1.1: 1\n", "    J1.1: 2\n", [
        "corner.yaml:33:11: fixtures > bread-2 > J1.2: position 2 already touches J1.1",
    ]),
    ("corner.yaml", "    J1.1: 1\n", "    J9.1: 1\n", [
        "corner.yaml:31:3: fixtures > bread-2: nothing touches J1.1 (+5V), where bread-2 is measured",
        "corner.yaml:32:5: fixtures > bread-2 > J9.1: bread-2 tells of no such point; allowed are J1.1, U18.8, U11.8, U12.8, U13.8, U14.8, U15.8, U16.8, U17.8, J1.2, U18.16, U1.29, U1.30, U11.16, U12.16, U13.16, U14.16, U15.16, U16.16, U17.16, J1.3, U4.8, U5.12, U1.6, … (53 in all); did you mean 'J2.1'?",
    ]),
    ("corner.yaml", "    U1.12: 21\n", "", [
        "corner.yaml:31:3: fixtures > bread-2: nothing touches U1.12 (D2), where bread-2 is measured",
    ]),
    ("corner.yaml", "    U1.12: 21\n", "    U1.12: 99\n", [
        "corner.yaml:52:12: fixtures > bread-2 > U1.12: position 99 wants relay channel 199, which 'w-1' does not have",
    ]),
    ("corner.yaml", "  +12V:\n", "  +21V:\n", [
        "corner.yaml:10:1: feeds: nothing feeds +12V of bread-2",
    ]),
    ("corner.yaml", "{J2.1: 75 ohm}", "{J2.1: 50 ohm}", [
        "corner.yaml:54:19: terminated > bread-2 > J2.1: 50.00 Ω, but bread-2 is judged into 75.00 Ω",
    ]),
    ("corner.yaml", "terminated:\n  bread-2: {J2.1: 75 ohm}\n", "", [
        "corner.yaml:31:3: fixtures > bread-2: nothing loads J2.1 (VIDEO), which is judged into 75.00 Ω; say so under 'terminated'",
    ]),
    ("corner.yaml", "calibrated: 2026-03-02", "calibrated: 02.03.2026", [
        "corner.yaml:6:72: instruments > psu > calibrated: '02.03.2026' is not a date; write year-month-day, such as 2026-03-02",
    ]),
    ("corner.yaml", "meter: {driver: m-1, address: \"TCPIP::meter::5025::SOCKET\"}", "meter: {driver: m-1, address: \"TCPIP::meter::5025::SOCKET\", probe: 10}", [
        "corner.yaml:7:63: instruments > meter > probe: 'm-1' drives a meter; only a scope and a counter have probes",
    ]),
    ("corner.yaml", "  settle: 20 ms", "  setle: 20 ms", [
        "corner.yaml:29:3: unknown key 'setle' under routes; allowed are relays, slots, path, settle; did you mean 'settle'?",
    ]),
    ("bread-2.yaml", "from: X1, is: 12 MHz ± 100 ppm", "from: X1, is: 40 MHz ± 100 ppm", [
        "corner.yaml:9:3: instruments > scope: cannot sample CLK12 of bread-2: 40.00 MHz wants 400.0 MSa/s, and with 4 channels on 'scope' takes 250.0 MSa/s",
        "corner.yaml:9:3: instruments > scope: cannot sample DOT of bread-2: 26.67 MHz wants 266.7 MSa/s, and with 4 channels on 'scope' takes 250.0 MSa/s",
    ]),
    ("bread-2.yaml", "4.85 V .. 5.20 V", "5.20 V .. 4.85 V", [
        "bread-2.yaml:34:46: rails > +5V > places > inlet > is: '5.20 V .. 4.85 V' is the wrong way round: the lower end comes first",
    ]),
    ("bread-2.yaml", "4.70 V .. 5.20 V", "11.4 V .. 12.6 V", [
        "bread-2.yaml:35:47: rails > +5V > places > far > is: 11.40 V .. 12.60 V is far from the 5.000 V of this rail",
    ]),
    ("bread-2.yaml", "trip: 5.5 V", "trip: 5.0 V", [
        "bread-2.yaml:24:11: rails > +5V > trip: 5.000 V must lie beyond the 5.250 V the board takes, with the sign of the rail",
    ]),
    ("bread-2.yaml", "amps: at most 1.5 A", "amps: at most 0.3 A", [
        "bread-2.yaml:29:13: rails > +5V > current > item 1 > is: 360.0 mA .. 440.0 mA reaches above the cap of 300.0 mA",
        "bread-2.yaml:31:13: rails > +5V > current > item 2 > is: 270.0 mA .. 330.0 mA reaches above the cap of 300.0 mA",
    ]),
    ("bread-2.yaml", "0.30 A ± 10 %", "0.50 A ± 10 %", [
        "bread-2.yaml:31:13: rails > +5V > current > item 2 > is: the parts on +5V draw 292.0 mA together with chip=late; 450.0 mA .. 550.0 mA cannot be right",
    ]),
    ("bread-2.yaml", "nominal: 5 V", "nominal: 5,0 V", [
        "bread-2.yaml:22:14: rails > +5V > nominal: '5,0 V' has a comma in its number; write '5.0 V'",
    ]),
    ("bread-2.yaml", "nominal: 5 V", "nominal: 5", [
        "bread-2.yaml:22:14: rails > +5V > nominal: '5' lacks its unit; write it as '5 V'",
    ]),
    ("bread-2.yaml", "nominal: 5 V", "nominal: 5 A", [
        "bread-2.yaml:22:14: rails > +5V > nominal: '5 A' is in A, but V is wanted",
    ]),
    ("bread-2.yaml", "    ripple:\n      place: far", "    ripple:\n      place: fart", [
        "bread-2.yaml:37:14: rails > +5V > ripple > place: 'fart' is not a place of this rail; allowed are inlet, far; did you mean 'far'?",
    ]),
    ("bread-2.yaml", "outs: {CPUCLK: /4, CHARCLK: /16}", "outs: {CPUCLK: /3, CHARCLK: /16}", [
        "bread-2.yaml:94:74: parts > U5 > outs > CPUCLK: divides CLK12 by 3, but under 'clocks' CPUCLK is 1/4 of it",
    ]),
    ("bread-2.yaml", "of: CLK12 * 2 / 3", "of: CLK21 * 2 / 3", [
        "bread-2.yaml:52:27: clocks > DOT > of: 'CLK21' is no clock; allowed are CLK12, CPUCLK, CHARCLK; did you mean 'CLK12'?",
    ]),
    ("bread-2.yaml", "of: CLK12 / 4", "of: CHARCLK / 4", [
        "bread-2.yaml:55:9: clocks > CPUCLK > of: is made of itself: CPUCLK / CHARCLK / CPUCLK",
        "bread-2.yaml:59:30: clocks > CHARCLK > of: is made of itself: CHARCLK / CPUCLK / CHARCLK",
    ]),
    ("bread-2.yaml", "duty: 35 % .. 65 %", "duty: 35 .. 65", [
        "bread-2.yaml:51:62: clocks > CLK12 > duty: '35' lacks its unit; write it as '35 %'",
    ]),
    ("bread-2.yaml", "rate: at most 750 kHz, usual: 300 kHz .. 500 kHz", "rate: 1 MHz .. 2 MHz", [
        "bread-2.yaml:82:69: lines > FETCH > rate: 1.000 MHz .. 2.000 MHz cannot be: a fetch takes at least 4 cycles of CPUCLK, 750.0 kHz",
    ]),
    ("bread-2.yaml", "side: output, is: moving, shortest: 400 ns, family: NMOS}", "side: output, is: moving, rate: 760 kHz .. 800 kHz, shortest: 400 ns, family: NMOS}", [
        "bread-2.yaml:88:34: ratios > item 1 > is: 0.995 .. 1.005 cannot be: the rates of REFRESH and FETCH leave at least 1.013",
    ]),
    ("bread-2.yaml", "is: 0.995 .. 1.005", "is: 0.995 .. 1.005, per: fetch", [
        "bread-2.yaml:88:50: unknown key 'per' under ratios > item 1; allowed are of, to, is, stage",
    ]),
    ("bread-2.yaml", "{of: REFRESH, to: FETCH,", "{of: REFRSH, to: FETCH,", [
        "bread-2.yaml:88:10: ratios > item 1 > of: 'REFRSH' is not one of the lines; allowed are WAIT, FETCH, REFRESH, HALT, VIDCS, D0, D1, D2; did you mean 'REFRESH'?",
    ]),
    ("bread-2.yaml", "cpu class: R", "cpu class: S", [
        "bread-2.yaml:10:19: architecture > refresh source: only a CPU of class R refreshes the memory itself",
    ]),
    ("bread-2.yaml", "cpu class: R\n  cpu socketed: yes\n  cpu clock source: divider\n  reset source: timer\n  video timing: programmable\n  refresh source: cpu", "cpu class: S\n  cpu socketed: yes\n  cpu clock source: divider\n  reset source: timer\n  video timing: programmable\n  refresh source: video", [
        "bread-2.yaml:88:10: ratios > item 1 > of: counts of REFRESH are the fingerprint of a CPU of class R; 'cpu class' under 'architecture' is 'S'",
        "bread-2.yaml:88:23: ratios > item 1 > to: counts of FETCH are the fingerprint of a CPU of class R; 'cpu class' under 'architecture' is 'S'",
        "bread-2.yaml:96:26: parts > U1 > class: 'R', but 'cpu class' under 'architecture' is 'S'",
    ]),
    ("bread-2.yaml", "  refresh source: cpu\n", "", [
        "bread-2.yaml:3:1: the key 'refresh source' is missing under architecture",
    ]),
    ("bread-2.yaml", "  wait source: none\n", "", [
        "bread-2.yaml:3:1: the key 'wait source' is missing under architecture",
    ]),
    ("bread-2.yaml", "cpu socketed: yes", "cpu socketed: no", [
        "bread-2.yaml:6:17: architecture > cpu socketed: 'no', but U1 under 'parts' is in a socket",
    ]),
    ("bread-2.yaml", "cpu socketed: yes", "cpu socketed: true", [
        "bread-2.yaml:6:17: architecture > cpu socketed: 'true' is neither yes nor no",
    ]),
    ("bread-2.yaml", "cpu clock source: divider", "cpu clock source: gate array", [
        "bread-2.yaml:7:21: architecture > cpu clock source: 'gate array', but CPUCLK is driven by U5, a divider",
    ]),
    ("bread-2.yaml", "reset source: timer", "reset source: supervisor", [
        "bread-2.yaml:8:17: architecture > reset source: 'supervisor', but RESET is driven by U7, a reset timer",
        "bread-2.yaml:66:9: reset > from: 'timer', but 'reset source' under 'architecture' is 'supervisor'",
    ]),
    ("bread-2.yaml", "video timing: programmable", "video timing: fixed", [
        "bread-2.yaml:9:17: architecture > video timing: 'fixed', but U2 is a video controller: without its program there is no sync",
    ]),
    ("bread-2.yaml", "refresh source: cpu", "refresh source: none", [
        "bread-2.yaml:10:19: architecture > refresh source: dynamic memory forgets within milliseconds; somebody must refresh it",
    ]),
    ("bread-2.yaml", "ram type: dram 1 rail", "ram type: static", [
        "bread-2.yaml:10:19: architecture > refresh source: static memory is not refreshed; write 'none', or another 'ram type'",
    ]),
    ("bread-2.yaml", "ram type: dram 1 rail", "ram type: dram 3 rail", [
        "bread-2.yaml:11:13: architecture > ram type: three-rail memory wants -5 V, +5 V and +12 V; some of them are no rail of this file",
    ]),
    ("bread-2.yaml", "fetch strobe used: nothing", "fetch strobe used: waits", [
        "bread-2.yaml:14:22: architecture > fetch strobe used: no part listens to FETCH; write 'nothing', or put it under 'in' of the part that does",
    ]),
    ("bread-2.yaml", "point: U1.18", "point: U1.28", [
        "bread-2.yaml:84:17: lines > HALT > point: U1.28 is said to be on HALT here and on REFRESH under 'lines'",
    ]),
    ("bread-2.yaml", "J1: {kind: connector, pins: {+5V: 1,", "J1: {kind: connector, pins: {+12V: 1,", [
        "bread-2.yaml:90:38: parts > J1 > pins > +12V: J1.1 is said to be on +12V here and on +5V under 'rails'",
        "bread-2.yaml:90:48: the key '+12V' under parts > J1 > pins is written twice; the first is on line 90",
    ]),
    ("bread-2.yaml", "outs: {CLK12: X1}", "outs: {CLK12: X2}", [
        "bread-2.yaml:93:58: parts > U4 > outs > CLK12: nothing else in this file knows a net 'X2'",
    ]),
    ("bread-2.yaml", "select: VIDCS, data", "select: VIDSC, data", [
        "bread-2.yaml:106:104: parts > U2 > select: nothing else in this file knows a net 'VIDSC'; did you mean 'VIDCS'?",
    ]),
    ("bread-2.yaml", "  C1..C9: {kind: decoupler", "  U9: {kind: decoder, rail: +5V, outs: {SPARE: {needs: {A15: low}}}, pins: {SPARE: 4}}\n  C1..C9: {kind: decoupler", [
        "bread-2.yaml:91:3: parts > U9: feeds nothing: no other part is on SPARE, and nothing is measured there",
    ]),
    ("bread-2.yaml", "Q1: {kind: video output, rail: +12V,", "Q1: {kind: video output, rail: +5V,", [
        "bread-2.yaml:40:3: rails > +12V: feeds nothing: no part is on this rail",
    ]),
    ("bread-2.yaml", "kind: data buffer", "kind: data bufer", [
        "bread-2.yaml:104:14: parts > U8 > kind: 'data bufer' is not known here; allowed are connector, switch, bulk capacitor, decoupler, crystal, oscillator, divider, gate array, reset timer, reset supervisor, cpu, rom, ram, decoder, data buffer, address multiplexer, gates, video, video controller, video output, shifter, port, bridge, regulator, … (29 in all); did you mean 'data buffer'?",
    ]),
    ("bread-2.yaml", "bit: M0..M7, pins", "bit: M0..M6, pins", [
        "bread-2.yaml:105:54: parts > U11..U18 > bit: 7 nets for 8 parts; write one for each",
    ]),
    ("bread-2.yaml", "board: bread-2", "board: bread-3", [
        "bread-2.yaml:1:8: board: 'bread-3' is found by the name of its file, which is 'bread-2'; make them alike",
    ]),
    ("bread-2.yaml", "board: bread-2", "bord: bread-2", [
        "bread-2.yaml:1:1: nothing says what kind of file this is, its first key is 'bord'; a file begins with 'board:', 'bench:', 'sequence:' or 'driver:' and its name; did you mean 'board'?",
    ]),
    ("bread-2.yaml", "words: a board with every section", "words: a board: with every section", [
        "bread-2.yaml:2:15: cannot be read as YAML: a second ':' on the line, or wrong indentation; a text with ': ' needs quotes",
    ]),
    ("bread-2.yaml", "words: a board with every section", "words: &a\n  - *a", [
        "bread-2.yaml:2:8: '&a' names a place; write values out where they are needed",
    ]),
    ("bread-2.yaml", "  chip:\n    words", "  chip:\n\twords", [
        "bread-2.yaml:17:1: indented with a tab; use spaces",
    ]),
    ("bread-2.yaml", "default: late", "default: later", [
        "bread-2.yaml:18:14: options > chip > default: 'later' is not one of the choices; allowed are early, late; did you mean 'late'?",
    ]),
    ("short.yaml", "include: tail", "include: tale", [
        "short.yaml:16:14: steps > item 4 > include: no sequence is named 'tale'; allowed are after-repair, baseline, bus, clocks, cpu, first-power, follow-a-short, memory, rails, shorts-before-power, supply-alone, video",
    ]),
    ("short.yaml", "include: tail", "include: short", [
        "short.yaml:16:14: steps > item 4 > include: includes itself: short > short",
    ]),
    ("short.yaml", "include: tail", "include: ../base/tail", [
        "short.yaml:16:14: steps > item 4 > include: no such file, and no sequence is named '../base/tail'; allowed are after-repair, baseline, bus, clocks, cpu, first-power, follow-a-short, memory, rails, shorts-before-power, supply-alone, video",
    ]),
    ("short.yaml", "stages: rails, clocks", "stages: rails, video", [
        "short.yaml:17:13: steps > item 4 > stages: tail has no step of the stage 'video'",
    ]),
    ("short.yaml", "stages: rails, clocks", "stages: rails, clock", [
        "short.yaml:17:13: steps > item 4 > stages: 'clock' is not known here; allowed are ohms, power, rails, clocks, reset, video, cpu, bus, memory; did you mean 'clocks'?",
    ]),
    ("short.yaml", "    called: first", "    leave out: rail {rail}", [
        "short.yaml:18:16: steps > item 4 > leave out: tail has no step 'rail {rail}'; allowed are rail {rail} {place}, clock {clock}, line {line}; did you mean 'rail {rail} {place}'?",
    ]),
    ("short.yaml", "    called: first", "    called: first; second", [
        "short.yaml:18:13: steps > item 4 > called: 'first; second' is not a name; letters, digits, spaces and + - / ~ # . ( ) % _ are allowed",
    ]),
    ("short.yaml", "only if: {rails: within unusual}", "only if: {reset: within unusual}", [
        "short.yaml:23:15: steps > item 5 > only if > reset: 'reset' comes later; a condition is on an earlier stage or step; allowed are ohms, power, rails, clocks, ohms {rail}, polarity {rail}, power on, first rail {rail} {place}, first clock {clock}",
    ]),
    ("short.yaml", "only if: {rails: within unusual}", "only if: {rails: good}", [
        "short.yaml:23:22: steps > item 5 > only if > rails: 'good' is not known here; allowed are within, unusual, marginal, outside, void, skipped",
    ]),
    ("short.yaml", "only if: {rails: within unusual}", "only if: rails within", [
        "short.yaml:23:14: steps > item 5 > only if: must hold keys of its own",
    ]),
    ("short.yaml", "only if: {rails: within unusual}", "only if: {power off: within}", [
        "short.yaml:23:15: steps > item 5 > only if > power off: 'power off' comes later; a condition is on an earlier stage or step; allowed are ohms, power, rails, clocks, ohms {rail}, polarity {rail}, power on, first rail {rail} {place}, first clock {clock}; did you mean 'power on'?",
    ]),
    ("short.yaml", "every: 2 s, within: 10 s", "every: 20 s, within: 10 s", [
        "short.yaml:24:36: steps > item 5 > repeat > every: 20.00 s is longer than all turns together may take, 10.00 s",
    ]),
    ("short.yaml", "every: 2 s, within: 10 s", "every: 0 s, within: 10 s", [
        "short.yaml:24:36: steps > item 5 > repeat > every: 0 s is no pause; at least 0.1 s is wanted",
    ]),
    ("short.yaml", "every: 2 s, within: 10 s", "every: 2 s", [
        "short.yaml:24:5: the key 'within' is missing under steps > item 5 > repeat",
    ]),
    ("short.yaml", "amps: 0.3 A, 0.6 A", "amps: 0.6 A, 0.3 A", [
        "short.yaml:15:11: steps > item 3 > amps: limits rise from the first on, such as '0.3 A, 0.6 A, 1 A'",
    ]),
    ("short.yaml", "amps: 0.3 A, 0.6 A", "repeat: {until: within, within: 5 s}", [
        "short.yaml:15:5: steps > item 3 > repeat: belongs to a step that measures",
    ]),
    ("short.yaml", "  - step: power off\n    stage: power\n    power: off", "  - step: power off\n    stage: power\n    power: off\n    amps: 1 A", [
        "short.yaml:28:5: steps > item 6 > amps: belongs to 'power: on'",
    ]),
    ("short.yaml", "  - step: power off\n", "  - step: first rail {rail} {place}\n    stage: rails\n    measure: rail\n    for each: place\n  - step: power off\n", [
        "short.yaml:25:11: steps > item 6 > step: 'first rail {rail} {place}' is already the name of item 4",
    ]),
    ("short.yaml", "measure: current", "measure: curent", [
        "short.yaml:21:14: steps > item 5 > measure: 'curent' is not known here; allowed are ohms, current, rail, drop, ripple, clock, reset, sync, picture, line, ratio, likeness, driving, delay, refresh, plug, plug ripple; did you mean 'current'?",
    ]),
    ("short.yaml", "words: a short round\n", "", [
        "short.yaml:1:1: the key 'words' is missing",
    ]),
    ("tail.yaml", "    only if: {\"rail {rail} {place}\"", "    only if: {\"rail {rail}\"", [
        "short.yaml:16:14: steps > item 4 > include: step 'first clock {clock}': 'rail {rail}' is unknown; a condition is on an earlier stage or step; allowed are ohms, power, rails, ohms {rail}, polarity {rail}, power on, first rail {rail} {place}; did you mean 'ohms {rail}'?",
        "tail.yaml:12:15: steps > item 2 > only if > rail {rail}: 'rail {rail}' is unknown; a condition is on an earlier stage or step; allowed are rails, rail {rail} {place}; did you mean 'rail {rail} {place}'?",
    ]),
    ("tail.yaml", "    side: input", "    side: inputs", [
        "tail.yaml:17:11: steps > item 3 > side: 'inputs' is not known here; allowed are input, output, address, select, data, strobe; did you mean 'input'?",
    ]),
    ("tail.yaml", "stage: cpu", "stage: cpus", [
        "tail.yaml:14:12: steps > item 3 > stage: 'cpus' is not known here; allowed are ohms, power, rails, clocks, reset, video, cpu, bus, memory; did you mean 'cpu'?",
    ]),
    ("ps-x.yaml", "kind: supply", "kind: suply", [
        "ps-x.yaml:5:7: kind: 'suply' is not known here; allowed are supply, meter, relays, scope, counter; did you mean 'supply'?",
    ]),
    ("ps-x.yaml", "driver: ps-x", "driver: ps-y", [
        "ps-x.yaml:4:9: driver: 'ps-y' is found by the name of its file, which is 'ps-x'; make them alike",
    ]),
    ("ps-x.yaml", "VOLT {value},(@{channel})\", span: 0 V", "VOLT (@{channel})\", span: 0 V", [
        "ps-x.yaml:25:3: actions > set volts: one of the lines must have {value}",
    ]),
    ("ps-x.yaml", "  \"off\": {say: \"OUTP OFF,(@{channel})\"}\n", "", [
        "ps-x.yaml:24:1: actions: a supply driver must have 'off' too",
    ]),
    ("ps-x.yaml", "  clear trip: {say: \"VOLT:PROT:CLE (@{channel})\"}", "  clear trips: {say: \"VOLT:PROT:CLE (@{channel})\"}", [
        "ps-x.yaml:48:3: actions > clear trips: a supply driver has no such action; allowed are remote, local, set volts, set amps, set trip, set volts?, set amps?, set trip?, on, off, on?, volts?, amps?, limiting?, tripped?, clear trip; did you mean 'clear trip'?",
    ]),
    ("ps-x.yaml", "span: 0 V .. 30 V, digits: 3", "span: 0 V .. 30 V", [
        "ps-x.yaml:25:3: actions > set volts: 'digits' is needed: how many decimal places {value} is sent with",
    ]),
    ("ps-x.yaml", "answer: bit, bit: 1", "answer: bit", [
        "ps-x.yaml:46:3: actions > limiting?: the answer 'bit' needs 'bit'",
    ]),
    ("ps-x.yaml", "answer: bit, bit: 1", "answer: bits, bit: 1", [
        "ps-x.yaml:46:60: actions > limiting? > answer: 'bits' is not known here; allowed are number, numbers, text, truth, truths, error, event error, bit, bit clear, any bit, raw bit, raw bit clear, word, digits, digit, channel list, channel mask, preamble, scaling, descriptor, block; did you mean 'bit'?",
    ]),
    ("ps-x.yaml", "channels: 1, 2", "channels: 2 .. 1", [
        "ps-x.yaml:17:13: outputs > channels: '2 .. 1' is not a range from low to high",
    ]),
    ("ps-x.yaml", "    trust: {of reading: 0.2 %, plus: 5 mA}", "    trust: {of reading: 0.2 %, plus: 5 mV}", [
        "ps-x.yaml:43:38: actions > amps? > trust > plus: must be in A",
    ]),
    ("ps-x.yaml", "actions:\n", "outputs: {}\nactions:\n", [
        "ps-x.yaml:24:1: the key 'outputs' is written twice; the first is on line 16",
    ]),
    ("ps-x.yaml", "set trip: {say: [", "set tripp: {say: [", [
        "ps-x.yaml:27:3: actions > set tripp: a supply driver has no such action; allowed are remote, local, set volts, set amps, set trip, set volts?, set amps?, set trip?, on, off, on?, volts?, amps?, limiting?, tripped?, clear trip; did you mean 'set trip'?",
    ]),
]  # fmt: skip
