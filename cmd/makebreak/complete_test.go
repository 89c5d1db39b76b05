package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/testdata/few"
	"makebreak/testdata/tool"
)

// completed are the words, without what is said of them, and the directive that a shell gets.
func completed(t *testing.T, words ...string) (all []string, directive string) {
	t.Helper()
	status, out, _ := run(t, append([]string{"__complete"}, words...)...)
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	directive = lines[len(lines)-1]
	if status != exitPass || !regexp.MustCompile(`^:\d+$`).MatchString(directive) {
		t.Errorf("%q: exit status %d, %q", words, status, out)
	}
	for _, line := range lines[:len(lines)-1] {
		word, _, _ := strings.Cut(line, "\t")
		all = append(all, word)
	}
	return all, directive
}

// Whatever is typed, a shell gets words that mean no more than themselves, for each command and
// each of its flags; the log and all beside it stay as they are.
func TestComplete_All(t *testing.T) {
	few.Skip(t)
	f := newHostileFiles(t)
	f.change(t, f.log, "UPDATE run SET unit = '$(touch pwned)', done_by = 'A. Fitter' WHERE id = 1", "UPDATE run SET done_by = 'x`touch pwned`' WHERE id = 2",
		"INSERT INTO field VALUES (2, 9, 'a;b', '&&c')")
	t.Chdir(f.dir)
	for _, name := range []string{"$(touch pwned).yaml", "a\nb.yaml", "-rf.yaml", "\x1b[2J.csv", "'.db"} {
		if err := os.WriteFile(name, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	before := listing(t, f.dir)
	plain := regexp.MustCompile(`^[\pL\pN._,:=+@%/-]([\pL\pN._,:=+@%/ -]*[\pL\pN._,:=+@%/-])?$`)
	check := func(words ...string) {
		t.Helper()
		all, _ := completed(t, words...)
		for _, word := range all {
			if !plain.MatchString(word) {
				t.Errorf("%q: %q", words, word)
			}
		}
	}
	n := 0
	eachCommand(func(c *cobra.Command) {
		if !c.HasParent() {
			(&app{}).completions(c)
		}
		words := append(strings.Fields(c.CommandPath())[1:], "--log", f.log)
		for _, typed := range []string{"", "a", "-", "$(", "\x1b", "no/such/folder/"} {
			if typed != "-" { // these are flags
				check(append(words, typed)...)
			}
		}
		visit := func(flag *pflag.Flag) {
			if flag.Hidden || flag.Value.Type() == "bool" {
				return
			}
			n++
			if _, has := c.GetFlagCompletionFunc(flag.Name); !has && c.Name() != "completion" && !c.HasParent() {
				t.Errorf("%s --%s: nothing says what may follow it", c.CommandPath(), flag.Name)
			}
			for _, typed := range []string{"", "O", "$("} {
				check(append(words, "--"+flag.Name, typed)...)
			}
		}
		c.LocalFlags().VisitAll(visit)
		c.InheritedFlags().VisitAll(visit)
	})
	if n < 100 {
		t.Errorf("only %d flags were tried", n)
	}
	if after := listing(t, f.dir); !slices.Equal(before, after) {
		t.Errorf("files before: %q\nafter: %q", before, after)
	}
}

// listing are the files of a folder with their sizes and times.
func listing(t *testing.T, dir string) (all []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, e.Name()+" "+info.ModTime().String())
	}
	return all
}

// What is typed is completed by what there is.
func TestComplete(t *testing.T) {
	f := newHostileFiles(t)
	t.Chdir(f.dir)
	status, _, errs := run(t, "run", "relay-only", "--cycles", "1", "--seed", "1", "--log", f.log, "--unit", "RB-7", "--by", "B. Other", "--field", "job=77")
	if status != exitPass {
		t.Fatal(errs)
	}
	_, list, _ := run(t, "runs", "--log", f.log, "--as", "csv")
	newest, _, _ := strings.Cut(strings.Split(list, "\n")[1], ",")
	for _, c := range []struct {
		typed string
		want  []string // among others, where the last is …
	}{
		{"run arm", []string{"armed-high", "armed-low", "armed-pulse", "arming-chirps"}},
		{"run s", []string{"strobe", "seq.yaml"}},
		{"run armed-high ''", nil},
		{"run --fault wel", []string{"welded"}},
		{"run --fault wrong-address=OUT1", []string{"wrong-address=OUT1"}},
		{"run armed-high --rig RIG --fault stuck-low=OUT8", []string{"stuck-low=OUT8"}},
		{"run --fault stuck-low@OUT8", []string{"stuck-low@OUT8"}},
		{"run --fault slow-release=9ms@", []string{"slow-release=9ms@K1"}},
		{"run --fault hum@", nil},
		{"run armed-high --rig pan", []string{"panel"}},
		{"run armed-high --rig r", []string{"relay", "rig.calibration.yaml", "rig.yaml"}},
		{"run armed-high --log LOG --unit R", []string{"RB-7"}},
		{"run armed-high --log LOG --by B", []string{"B. Other"}},
		{"run armed-high --log LOG --field job=7", []string{"job=77"}},
		{"run armed-high --log LOG --field jo", []string{"job="}},
		{"run armed-high --log LOG --ask-field cu", []string{"customer"}},
		{"report --log LOG --unit RB-7 2", []string{newest}},
		{"report --log LOG la", []string{"last"}},
		{"report last --log LOG --budget K1.op", []string{"K1.operate_time"}},
		{"report last --log LOG --diagram COIL@re", []string{"COIL@release"}},
		{"report last --log LOG --capture ''", []string{"1"}},
		{"report " + newest + " --log LOG --capture 1", []string{"1"}},
		{"report last --as ht", []string{"html"}},
		{"runs --as h", nil},
		{"soak --log LOG --resume la", []string{"last"}},
		{"rig calibrate --rig RIG OUT3", []string{"OUT3"}},
		{"rig calibrate OUT3 --points p", []string{"p.yaml"}},
		{"rig check --loop-back KEY_A", []string{"KEY_AWAY,"}},
		{"rig check --loop-back KEY_AWAY,K1_N", []string{"KEY_AWAY,K1_NO", "KEY_AWAY,K1_NC"}},
		{"rig check --loop-back KEY_AWAY,K1_NO,OUT3", []string{"KEY_AWAY,K1_NO,OUT3"}},
		{"analyze c", []string{"c.csv"}},
		{"analyze c.csv --sequence all", []string{"all-quiet"}},
		{"install --prefix /usr/", []string{"/usr/local"}},
		{"runs --log l", []string{"log.db"}},
		{"work divider --series E2", []string{"E24"}},
		{"wor", []string{"work"}},
	} {
		words := strings.Fields(strings.NewReplacer("LOG", f.log, "RIG", f.rig, "''", "").Replace(c.typed))
		if strings.HasSuffix(c.typed, "''") {
			words = append(words, "")
		}
		if got, _ := completed(t, words...); !slices.Equal(begins(got, words[len(words)-1]), c.want) {
			t.Errorf("%s: %q, want %q", c.typed, got, c.want)
		}
	}
}

// begins are the words that begin with what was typed, as a shell takes them.
func begins(all []string, typed string) (some []string) {
	for _, word := range all {
		if strings.HasPrefix(word, typed) {
			some = append(some, word)
		}
	}
	return some
}

// typedInShell is what is typed in shells, and what a tab makes of it.
var typedInShell = [][2]string{
	{"makebreak run armed-h", "makebreak run armed-high"},
	{"makebreak report --as js", "makebreak report --as json"},
	{"makebreak run --fault wel", "makebreak run --fault welded"},
	{"makebreak licen", "makebreak licences"},
}

// completionScript writes the script for a shell as a file of that name, beside the program.
func completionScript(t *testing.T, shell, name string) (dir string) {
	t.Helper()
	_, script, errs := run(t, "completion", shell)
	if len(script) < 1000 || errs != "" {
		t.Fatalf("%s: %d bytes, %s", shell, len(script), errs)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir = filepath.Dir(asProgram(t, self))
	if err := os.WriteFile(filepath.Join(dir, name), []byte(script), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// inShell runs a shell that finds the program in a folder, and that a home's settings do not
// reach.
func inShell(t *testing.T, dir, shell string, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, shell, args...)
	c.Env = append(os.Environ(), "PATH="+dir+":"+os.Getenv("PATH"), "HOME="+dir, "XDG_CONFIG_HOME="+dir, "XDG_DATA_HOME="+dir, "TERM=dumb")
	out, err := c.CombinedOutput()
	if err != nil {
		t.Errorf("%s: %v\n%s", shell, err, out)
	}
	return string(out)
}

// zshScript types into a zsh with a terminal of its own and prints what a tab makes of each.
const zshScript = `zmodload zsh/zpty
cat >$1/setup <<EOF
fpath=($1 \$fpath)
autoload -Uz compinit && compinit -u -d $1/dump
bindkey '^I' complete-word
shown() { print -r -- "\$BUFFER" >$1/shown; BUFFER= }
zle -N shown && bindkey '^G' shown
print ready >$1/ready
EOF
zpty -b z "zsh -f -i"
await() { repeat 1000; do [[ -s $1 ]] && return; zpty -r -t z x; sleep .02; done }
zpty -w z "source $1/setup"
await $1/ready
dir=$1; shift
for typed; do
	rm -f $dir/shown
	zpty -w -n z "$typed"$'\t\a'
	await $dir/shown
	cat $dir/shown
done
`

// zsh completes with the script, where a package puts it.
func TestComplete_Zsh(t *testing.T) {
	zsh := tool.Find(t, "zsh")
	dir := completionScript(t, "zsh", "_makebreak")
	script := filepath.Join(dir, "type.zsh")
	if err := os.WriteFile(script, []byte(zshScript), 0o644); err != nil {
		t.Fatal(err)
	}
	args, want := []string{"-f", script, dir}, ""
	for _, c := range typedInShell {
		args, want = append(args, c[0]), want+c[1]+" \n"
	}
	if got := inShell(t, dir, zsh, args...); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

// fish completes with the script, and says what each word means.
func TestComplete_Fish(t *testing.T) {
	fish := tool.Find(t, "fish")
	dir := completionScript(t, "fish", "makebreak.fish")
	for _, c := range typedInShell {
		got := inShell(t, dir, fish, "--no-config", "-c", "source $argv[1]; complete -C $argv[2]", filepath.Join(dir, "makebreak.fish"), c[0])
		words := strings.Fields(c[1])
		if word, about, _ := strings.Cut(strings.TrimSuffix(got, "\n"), "\t"); word != words[len(words)-1] || about == "" && !strings.Contains(c[0], "--as") {
			t.Errorf("%s: %q", c[0], got)
		}
	}
}

// bash takes the script as it is, and completes with it.
func TestComplete_Bash(t *testing.T) {
	bash := tool.Find(t, "bash")
	dir := completionScript(t, "bash", "makebreak.bash")
	inShell(t, dir, bash, "-n", filepath.Join(dir, "makebreak.bash"))
	for _, c := range typedInShell {
		words := strings.Fields(c[0])
		const script = `source "$1/makebreak.bash"; shift
typed=("$@")
_get_comp_words_by_ref() { words=("${typed[@]}") cword=$((${#typed[@]}-1)) cur=${typed[-1]} prev=${typed[-2]}; }
__makebreak_init_completion() { _get_comp_words_by_ref; }
compopt() { :; }
COMP_LINE="$*" COMP_POINT=${#COMP_LINE} COMP_TYPE=9 COMP_KEY=9
__start_makebreak; echo "${typed[*]:0:$#-1} ${COMPREPLY[*]}"`
		got := inShell(t, dir, bash, slices.Concat([]string{"--norc", "-c", script, "bash", dir}, words)...)
		if got != c[1]+"\n" {
			t.Errorf("%s: %q", c[0], got)
		}
	}
}
