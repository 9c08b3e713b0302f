"""`haulbench dyno`: an engine or a truck on the dyno, in words, as JSON, or as a folder with a report."""

import sys
from argparse import Namespace

from sim.command.folder import check_folder, write_folder
from sim.command.waiting import prepare_model
from sim.errors import SettingsError
from sim.inputs import usual
from sim.messages import dyno as say


def _changes(options: Namespace) -> list[str]:
    """Everything to be set: the fault first, then what the flags stand for, then --set, which wins."""
    from sim.dyno.faults import fault_named

    changes: list[str] = []
    for name in options.fault:
        changes += fault_named(name).changes
    keys = [change.partition("=")[0] for change in changes]
    if len(set(keys)) < len(keys):
        raise SettingsError(say.faults_clash(names=options.fault))
    if options.rate is not None and options.steps:
        raise SettingsError(say.rate_and_steps(rate=options.rate))
    flags = {
        "dyno.form": options.form,
        "dyno.rate_rpm_per_s": options.rate,
        "dyno.both_ways": "true" if options.both_ways else None,
        "dyno.step_rpm": "100" if options.steps else None,
        "dyno.band_percent": options.band,
        "dyno.correction": options.correction,
    }
    changes += [f"{key}={value}" for key, value in flags.items() if value is not None]
    return [*changes, *options.set]


def dyno(options: Namespace) -> int:
    """One dyno run."""
    from sim.dyno.faults import FAULTS
    from sim.dyno.lab import lab_entries, read_predictions
    from sim.inputs.files import load_settings_file, load_truck, split_changes

    if options.list_faults:
        width = max(len(name) for name in FAULTS) + 2
        for name, fault in FAULTS.items():
            print(f"{name:{width}}{fault.title}: {fault.sign} [{fault.mark}]")
        return 0
    truck_changes, settings_changes = split_changes(_changes(options))
    file = load_settings_file(options.settings, settings_changes)
    truck = load_truck(options.truck or file.truck or usual.TRUCK, truck_changes)
    predicted = read_predictions(options.predict, options.test)
    if options.out:
        check_folder(options.out, options.force)
    prepare_model()
    from sim.dyno.runs import run_dyno
    from sim.dyno.words import dyno_text

    result = run_dyno(truck, file.settings, options.test)
    entries = lab_entries(result, predicted)
    result.summary["fault"] = ", ".join(options.fault) or "none named"
    if options.out:
        from dashboard.dyno.report import dyno_report
        from sim.dyno.gauges import gauges_table
        from sim.dyno.result import table_csv

        files = {
            "report.html": dyno_report(result, entries),
            "trace.csv": table_csv(result.columns),
            "points.csv": table_csv(result.points),
            "gauges.csv": table_csv(gauges_table(result.summary["gauges"])),
            "dyno.json": result.json(),
        }
        if result.readings:
            files["meters.csv"] = table_csv(result.readings)
        for name, columns in result.sets.items():
            files[f"{name.replace(' ', '-')}.csv"] = table_csv(columns)
        write_folder(options.out, files, options.force)
    if options.json:
        print(result.json(), end="")
        return 0
    print(dyno_text(result, options.units))
    predictions = [entry for entry in entries if entry.predicted is not None]
    if predictions:
        print("\nPredicted against measured")
        for entry in predictions:
            word = "within" if entry.met else "outside"
            off = "-" if entry.off is None else f"{entry.off:+.3g}"
            print(
                f"  {entry.name:44}{entry.predicted:10.4g}{entry.measured:10.4g}  off {off} {entry.kind},"
                f" {word} {entry.tolerance:g} {entry.kind}"
            )
    if options.out:
        print(f"\nWritten to {options.out}: {', '.join(files)}")
    sys.stdout.flush()
    return 0
