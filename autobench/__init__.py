"""autobench: a bench runner for repairers of TTL-era, 8-bit computer boards.

The folders are the stages of one flow, each importing only what stands below it:

    cli          words on the command line to calls, errors to exit codes
    rehearsal    a sequence against every fault the simulator knows
    app          the one place that joins stages
    views        events to something a person reads
    commissioning  is this bench what its file says
    run          interlock, power, actions, runner
    record       what happened, kept
    instruments  link, transport, driver-file interpreter, roles
    events       what can happen in a run
    plan         documents to ordered steps
    diagnosis    readings to suspects and the next check
    documents    driver, bench, board and sequence files
    judgement    uncertainty, limits, verdicts
    signals      samples to numbers
    protocols    SCPI and IEEE 488.2: bytes to values, no I/O
    clock, quantity, errors  the ground

This module imports nothing, so that `import autobench` costs nothing.
"""

__version__ = "0.1.0"
