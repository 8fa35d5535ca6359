package main

import (
	"net"
	"os/exec"
	"strings"
	"testing"
)

// TestJob walks through a whole job with the built program against a real server: a
// wheel comes off and on, the work stops half way, another person takes it over, a value
// lies outside its band and is answered for, the job is closed, exported, verified and
// erased. Every command of job is run, and those that must be refused are.
func TestJob(t *testing.T) {
	w := newWorld(t)
	const (
		as, other, admin = " --token-file editor.token", " --token-file reviewer.token", " --token-file admin.token"
		bolt             = "skerry-1-wheel-bolt"
	)
	for _, x := range []example{
		{line: "proofload job open" + as, code: 2, says: "job open takes one procedure, found 0 arguments"},
		{line: "proofload job open skerry-1-rear-wheel-exchange --vehicle skerry-1 --side left", code: 2, says: "this needs a token, of any role; name the file that holds yours, --token-file FILE"},
		{line: "proofload job open no-such-procedure --vehicle skerry-1" + as, code: 2, says: "procedures/no-such-procedure does not exist"},
		{line: "proofload job open skerry-1-rear-wheel-exchange --vehicle skerry-1 --side left --plate RS-104 --odometer '48210 km' --order 2217" + as, says: "next: 1. Chock both front wheels", keep: "JOB", pattern: `(?m)^(\S+)  open  `},
		{line: "proofload job list" + as, says: "open     skerry-1"},
		{line: "proofload job tick JOB" + as, code: 2, says: "job tick takes JOB STEP, found 1 argument"},
		{line: "proofload job tick JOB one" + as, code: 2, says: `job tick: STEP "one" is not a whole number`},
		{line: "proofload job tick nojob 1" + as, code: 2, says: `job "nojob" does not exist`},
		{line: "proofload job tick JOB 3" + as, code: 1, says: "refused: step 3 cannot be done now: rear end is free to roll"},
		{line: "proofload job tick JOB 1" + as, says: "next: 2. "},
		{line: "proofload job tick JOB 2" + as, says: "open  wheel bolt loose"},
		{line: "proofload job undo JOB 2" + as, says: "next: 2. "},
		{line: "proofload job tick JOB 2" + as, says: "next: 3. "},
		{line: "proofload job tick JOB 3" + as, says: "vehicle: rear end supported on stands"},
		{line: "proofload job tick JOB 4" + as, says: "open  road wheel off"},
		{line: "proofload job stop JOB --because 'end of shift'" + as, says: "NOT FIT TO DRIVE"},
		{line: "proofload job tag JOB" + other, says: "left by Maud Ibbot"},
		{line: "proofload job tick JOB 5" + other, code: 1, says: "refused: job was stopped by Maud Ibbot"},
		{line: "proofload job take-over JOB fastener/fastener:" + bolt + other, code: 1, says: "is not confirmed"},
		{line: "proofload job take-over JOB chocks/vehicle:whole fastener/fastener:" + bolt + " raised/end:rear part/part:wheel" + other, says: "next: 5. "},
		{line: "proofload job skip JOB 5" + other, code: 2, says: "job skip needs --because TEXT"},
		{line: "proofload job skip JOB 5 --because 'bolts are new'" + other, says: "next: 6. "},
		{line: "proofload job tick JOB 6" + other, says: "next: 7. "},
		{line: "proofload job tick JOB 7" + other, says: "next: 8. "},
		{line: "proofload job wrench JOB TW-7 soon" + other, code: 1, says: "refused: "},
		{line: "proofload job wrench JOB TW-7 2027-01-31" + other, says: "next: 8. "},
		{line: "proofload job reached JOB 8 " + bolt + " 1 '100 N.m'" + other},
		{line: "proofload job reached JOB 8 " + bolt + " 2 clicked" + other},
		{line: "proofload job reached JOB 8 " + bolt + " 3 '74 lbf.ft'" + other},
		{line: "proofload job reached JOB 8 " + bolt + " 4 '120 Nm'" + other, code: 1, says: `did you mean "120 N.m"?`},
		{line: "proofload job reached JOB 8 " + bolt + " 5 clicked" + other, code: 1, says: "piece 5 is not one of the 4 of Wheel bolt"},
		{line: "proofload job reached JOB 8 " + bolt + " 4 '130 N.m'" + other, says: "no. 4: reached 130 N.m, accepted is 90 to 110 N·m", keep: "VALUE", pattern: `\[(value/\d+)\]`},
		{line: "proofload job tick JOB 8" + other, says: "next: 9. "},
		{line: "proofload job close JOB" + other, code: 1, says: "refused: job has 3 open"},
		{line: "proofload job answer JOB VALUE" + other, code: 2, says: "job answer needs --because TEXT, or --new-piece TEXT"},
		{line: "proofload job answer JOB value/none --because x" + other, code: 1, says: "is not open; allowed: value/"},
		{line: "proofload job answer JOB VALUE --because 'bolt renewed, new one at 100'" + other, says: "next: 9. "},
		{line: "proofload job note JOB" + other, code: 2, says: "job note needs --because TEXT"},
		{line: "proofload job note JOB --because 'seat of bolt 4 was dry'" + other, says: "next: 9. "},
		{line: "proofload job photo JOB abc" + other, code: 2, says: "sha256sum FILE prints that of a file"},
		{line: "proofload job photo JOB $(sha256sum draft.yaml | cut -d' ' -f1)" + other, says: "next: 9. ", before: "cp fasteners/skerry-1-wheel-bolt.yaml draft.yaml"},
		{line: "proofload job tick JOB 9" + other},
		{line: "proofload job tick JOB 10" + other},
		{line: "proofload job tick JOB 11" + other},
		{line: "proofload job close JOB" + other, says: "nothing is off, loose or open"},
		{line: "proofload job list --state closed" + as, says: "closed   skerry-1"},
		{line: "proofload job list --state open" + as, says: "no job"},
		{line: "proofload job reopen JOB" + as, says: "due   recheck the torque of wheel bolt after 50 km", keep: "OWED", pattern: `\[(owed-\d+)\]`},
		{line: "proofload job close JOB" + as, says: "(the day is a guess)"},
		{line: "proofload job done JOB OWED" + as, code: 2, says: "job done needs --because TEXT"},
		{line: "proofload job done JOB OWED --because 'came back at 52 km, no bolt turned'" + as, says: "done: came back at 52 km"},
		{line: "proofload job show JOB" + as, says: "100 N.m, clicked, 74 lbf.ft, 130 N.m"},
		{line: "proofload job show JOB" + as, says: "answered: bolt renewed, new one at 100 (Piet Oram)"},
		{line: "proofload job tag JOB" + as, says: "reached 130 N.m, accepted is 90 to 110 N·m"},
		{line: "proofload job export JOB -o job.json" + as, says: "job.json: "},
		{line: "proofload job verify job.json", says: "every text that is there is the one that was sealed"},
		{line: "sed 's/bolts are new/bolts are fine/' job.json > forged.json && proofload job verify forged.json", code: 1, says: "proofload: "},
		{line: "proofload job verify draft.yaml", code: 2, says: "is no file of a job; proofload job export writes one"},
		{line: "proofload job verify none.json", code: 2, says: "job file none.json does not exist"},
		{line: "proofload job erase JOB text" + as, code: 2, says: "this needs the role admin"},
		{line: "proofload job erase JOB everything" + admin, code: 2, says: "vehicle"},
		{line: "proofload job erase JOB vehicle" + admin, says: "erased: vehicle"},
		{line: "proofload job erase JOB people" + admin, says: "erased: people"},
		{line: "proofload job erase JOB text" + admin, says: "stay whole: root "},
		{line: "proofload job export JOB" + as + " > later.json && ! grep -q 'bolts are new' later.json && proofload job verify later.json", says: "every text that is there"},

		// Measurements, and a value that moves after a job was made to it.
		{line: "proofload job open quill-1-rear-hub-bearing --vehicle quill-1 --option rear_brake=disc --built 2018-W10 --side left" + as, says: "measure 1: 29.98 to 30.00 mm", keep: "SECOND", pattern: `(?m)^(\S+)  open  `},
		{line: "proofload job measured SECOND 11 1 '29.99 mm'" + as, says: "next: 1. "},
		{line: "proofload job measured SECOND 11 2 '29.99 mm'" + as, code: 1, says: "refused: "},
		{line: "proofload job show SECOND" + as, says: "measured 29.99 mm"},
		{line: "proofload job measured SECOND 11 1 '29.90 mm'" + as, says: "29.90 mm measured, the limit is 29.98 to 30.00 mm", keep: "WORN", pattern: `\[(limit/\d+)\]`},
		{line: "proofload job measured SECOND 11 1 '29.99 mm'" + as, says: "29.90 mm measured, the limit is 29.98 to 30.00 mm; entered since: 29.99 mm"},
		{line: "proofload job show SECOND" + as, says: "measured 29.99 mm, was 29.99 mm, 29.90 mm"},
		{line: "proofload job answer SECOND WORN --new-piece 'hub from the counter'" + as, says: "the new piece is not measured"},
		{line: "proofload job measured SECOND 11 1 '29.98 mm'" + as, says: "answered: new piece: hub from the counter (Maud Ibbot)"},

		// A torque above the band of a bolt that is used once, which a right value later does not undo.
		{line: "proofload job open quill-1-rear-hub-bearing --vehicle quill-1 --option rear_brake=disc --built 2018-W10 --side LEFT" + as, says: "left", keep: "THIRD", pattern: `(?m)^(\S+)  open  `},
		{line: "proofload job show THIRD" + as, says: "carrier-bolt", keep: "BOLTS", pattern: `(?ms)^..(\d+)  [^\n]*\n      quill-1-rear-carrier-bolt `},
		{line: "proofload job reached THIRD BOLTS quill-1-rear-carrier-bolt 1 '95 N.m'" + as, says: "may yield above 71.7 N·m", keep: "OVER", pattern: `\[(value/\d+)\]`},
		{line: "proofload job reached THIRD BOLTS quill-1-rear-carrier-bolt 1 '62 N.m'" + as, says: "entered since: 62 N.m"},
		{line: "proofload job show THIRD" + as, says: "62 N.m (was 95 N.m)"},
		{line: "proofload job tag THIRD" + as, says: "reached 95 N.m"},
		{line: "proofload job close THIRD" + as, code: 1, says: "reached 95 N.m"},
		{line: "proofload job answer THIRD OVER --because 'done again'" + as, code: 1, says: "a reason alone does not close it"},
		{line: "proofload job reached THIRD BOLTS quill-1-rear-carrier-bolt 1 '62 N.m' --new-piece 'M10 x 30 from the counter'" + as, says: "answered: new piece: M10 x 30 from the counter (Maud Ibbot)"},
		{line: "proofload job export THIRD" + as, says: "95 N.m"},
		{line: "proofload job moved" + as, says: "no job was made to a value that has moved since"},
		{line: "proofload job moved fasteners/" + bolt + " procedures/x" + as, code: 2, says: "job moved takes one record at most"},
		{line: "proofload job bogus", code: 2, says: `"job bogus" is no command`},
		{line: "proofload job", code: 2, says: "job needs one of: open, list, show"},
	} {
		if x.before != "" {
			if out, code := w.sh(x.before, false); code != 0 {
				t.Fatal(out)
			}
		}
		out, code := w.sh(x.line, false)
		if code != x.code || !strings.Contains(out, x.says) {
			t.Errorf("$ %s\nexit code %d, want %d; it is to say %q:\n%.1500s", x.line, code, x.code, x.says, out)
		} else if x.keep != "" {
			w.keep(x.keep, out, x.pattern)
		}
	}
}

// TestServerExitCodes: the server ends with the codes of the command line.
func TestServerExitCodes(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for _, c := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"an address in use", []string{"--http", taken.Addr().String(), "--grpc", "127.0.0.1:0"}, exitBroken, "is in use"},
		{"no such store", []string{"--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--store", "sqlite:none.db"}, exitBroken, "cannot be opened"},
		{"an unknown flag", []string{"--htp", "x"}, exitUsage, "--help lists the flags"},
		{"an argument", []string{"serve"}, exitUsage, `"serve" is not understood`},
		{"a wrong setting", []string{"--log", "xml"}, exitUsage, "allowed: text, json"},
		{"token of nothing", []string{"token"}, exitUsage, "token takes add, list or revoke"},
		{"help", []string{"--help"}, exitClean, "Exit codes: 0 stopped by a signal, 2 wrong use, 3 could not run"},
	} {
		cmd := exec.CommandContext(t.Context(), serverProgram(t), c.args...)
		cmd.Dir = t.TempDir()
		out, err := cmd.CombinedOutput()
		if cmd.ProcessState == nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if code := cmd.ProcessState.ExitCode(); code != c.code || !strings.Contains(string(out), c.says) {
			t.Errorf("%s: exit code %d, want %d; it is to say %q:\n%s", c.name, code, c.code, c.says, out)
		}
	}
}
