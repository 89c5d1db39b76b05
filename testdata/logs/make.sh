#!/bin/sh
# Makes a log of many small runs with a program of ours, see README.md:
#
#     sh make.sh PROGRAM LOG SCHEMA
#
# It needs sqlite3 and, for what is cut off half way, strace.
set -u
program=$1 log=$2 schema=$3
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
rm -f "$log" "$log"-*

run() { # to a log, a sequence with its options
	to=$1; shift
	"$program" "$@" --log "$to" --yes --quiet >/dev/null 2>&1
}

# What passes, what cannot be decided, and the faults whose figures have doubts.
run "$log" run "$here/short.yaml" --seed 1 --cycles 2 --unit 4711 --by 'A. Fitter'
run "$log" run "$here/tight.yaml" --seed 1 --unit 4711
run "$log" run "$here/tight-follow.yaml" --seed 1
for fault in welded long-bounce merged-edges lost-edges=7 chatter stuck-high loose-wire early-fall=1s hum=499mV bus-noise chip-reset adc-lost=4s; do
	run "$log" run "$here/short.yaml" --seed 7 --fault $fault
done
run "$log" run armed-high --seed 7 --cycles 1 --fault wrong-address --unit 4712
run "$log" run armed-low --seed 7 --cycles 1 --fault hum=900mV
run "$log" run armed-pulse --seed 7 --cycles 1 --fault wrong-address
run "$log" run relay-only --seed 7 --cycles 1 --fault inverted
if [ "$schema" -ge 2 ]; then
	for fault in inverted lost-edges=7 dead-relay; do
		run "$log" run relay-supply --seed 7 --cycles 1 --fault $fault
	done
	run "$log" run relay-supply --seed 7 --cycles 1
fi
if [ "$schema" -ge 3 ]; then
	run "$log" run relay-supply --seed 7 --cycles 1 --fault supply-reset=5s
fi

# Most captures go: they would be nine tenths of the file.
sqlite3 "$log" 'UPDATE cycle SET capture = NULL; DELETE FROM capture'

# With its captures.
run "$log" run relay-only --seed 1 --cycles 2 --unit R1 --by 'A. Fitter'

# Interrupted, and cut off.
stopped() { # after a time, by a signal
	after=$1 signal=$2; shift 2
	timeout -s "$signal" "$after" "$program" "$@" --log "$log" --yes --quiet >/dev/null 2>&1
	sleep 0.5 # it may still hold its locks
}
stopped 1.2 INT run relay-only --seed 1 --cycles 5 --real-time --unit R1
stopped 1.2 KILL run relay-only --seed 1 --cycles 5 --real-time --unit R1
if [ "$schema" -ge 2 ]; then
	stopped 1.2 INT soak relay-only --seed 3 --cycles 9 --keep-first 1 --keep-last 0 --keep-every 0 --keep-bad 1 --real-time --unit R2
	stopped 1.2 KILL soak --resume last --real-time
	run "$log" soak --resume last
	stopped 1.2 INT soak relay-only --seed 4 --cycles 9 --fault weak-contact --keep-first 0 --keep-last 1 --keep-every 0 --keep-bad 0 --real-time --unit R3
fi

# Cut off while a run is copied into the log, or removed from it: each write to the disk is
# made to take so long that the program can be ended in between.
cutoff() { # what the run must be like for it to have happened
	like=$1 at=$2; shift 2
	for after in 0.5 0.8 1.1 1.4 1.7 2.0 2.3 2.6 2.9 3.2 3.5 3.8 4.1 4.4 4.7 5.0; do
		cp "$log" "$work/try.db"
		cp "$work/base.db" "$work/other.db" 2>/dev/null
		rm -f "$work"/*-wal "$work"/*-shm
		timeout -s KILL $after strace -f -qq -o /dev/null -e trace=fdatasync -e inject=fdatasync:delay_exit=300000 \
			"$program" "$@" --yes --quiet >/dev/null 2>&1
		sleep 0.3
		sqlite3 "$work/$at" 'PRAGMA wal_checkpoint(TRUNCATE)' >/dev/null
		if [ "$(sqlite3 "$work/$at" "SELECT count(*) FROM run WHERE $like")" = 1 ]; then
			cp "$work/$at" "$log"
			return 0
		fi
	done
	echo "not cut off: $*" >&2
	return 1
}
if [ "$schema" -ge 2 ]; then
	stopped 1.2 INT run relay-only --seed 6 --cycles 5 --real-time --unit R5
	sqlite3 "$log" "UPDATE run SET ended = 1000000000 WHERE unit = 'R5'"
	removing="reason GLOB 'being removed from the log*'" copying="reason = 'being copied into this log'"
	[ "$schema" -ge 5 ] && removing='state = 2' copying='state = 1'
	cutoff "$removing" try.db runs prune --log "$work/try.db" --whole-runs --older-than 300d
fi
if [ "$schema" -ge 2 ] && [ "$schema" -le 5 ]; then # later programs copy by one transaction
	run "$work/base.db" run relay-only --seed 5 --cycles 1 --unit R4
	sqlite3 "$work/base.db" "UPDATE run SET day = '2026-01-02', started = started - 1000"
	[ "$schema" -ge 4 ] && sqlite3 "$work/base.db" "UPDATE name SET day = '2026-01-02', started = started - 1000"
	cutoff "$copying" try.db runs prune --log "$work/other.db" --whole-runs --older-than 0d --into "$work/try.db"
fi
sqlite3 "$log" 'PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode = DELETE; VACUUM' >/dev/null
rm -f "$log"-*
