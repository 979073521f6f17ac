package phone

import (
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var rewrite = flag.Bool("rewrite", false, "write what the stories do into them; read the difference before keeping it")

// The stories of testdata/sync: one input a line, then what the phone answers,
// each effect after ">", and the state it is left in after "=". Random is
// always 0.5. Times are relative to the story's beginning.
func TestStories(t *testing.T) {
	files, err := filepath.Glob("../../testdata/sync/phone-*.txt")
	if err != nil || len(files) < 8 {
		t.Fatalf("found %d stories, %v, want at least 8", len(files), err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			raw, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			got := tell(t, string(raw))
			if *rewrite {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if got != string(raw) && !*rewrite {
				t.Errorf("got\n%s\nwant\n%s", got, raw)
			}
		})
	}
}

// storyMS is when every story begins.
const storyMS = 1_781_078_400_000

// tell runs the inputs of a story and returns it with the answers it should hold.
func tell(t *testing.T, story string) string {
	var out strings.Builder
	state, now := State{}, int64(storyMS)
	for line := range strings.Lines(story) {
		words := strings.Fields(line)
		switch {
		case strings.HasPrefix(line, ">") || strings.HasPrefix(line, "="):
			continue // told anew below
		case len(words) == 0 || words[0] == "#":
			out.WriteString(line)
			continue
		}
		out.WriteString(line)
		if words[0] == "wait" {
			now += int64(number(t, words[1])) * 1000
			continue
		}
		in := readInput(t, words)
		in.NowMS, in.Random = now, 0.5
		var effects []Effect
		state, effects = Step(state, in)
		writeEffects(&out, effects, now)
		writeState(&out, state)
	}
	return out.String()
}

func number(t *testing.T, word string) float64 {
	v, err := strconv.ParseFloat(word, 64)
	if err != nil {
		t.Fatalf("the story has no number in %q", word)
	}
	return v
}

// readInput reads "kind name=value … row row": a row is id, id:check or
// id:check:bytes, a result is id=status, id=status:code or id=status:code:seconds.
func readInput(t *testing.T, words []string) Input {
	in := Input{Kind: words[0]}
	for _, word := range words[1:] {
		name, value, named := strings.Cut(word, "=")
		switch {
		case in.Kind == PushAnswered && named && name != "epoch":
			parts := append(strings.Split(value, ":"), "", "")
			r := Result{ID: name, Status: parts[0], Code: parts[1]}
			if parts[2] != "" {
				r.RetryAfterS = number(t, parts[2])
			}
			in.Results = append(in.Results, r)
		case !named && word == "more":
			in.More = true
		case !named:
			parts := append(strings.Split(word, ":"), "", "")
			row := Pending{ID: parts[0], DSeq: int64(place(parts[0])), CheckID: parts[1], SizeBytes: 100}
			if parts[2] != "" {
				row.SizeBytes = int(number(t, parts[2]))
			}
			in.Rows = append(in.Rows, row)
		case name == "epoch":
			in.Epoch = value
		case name == "cursor":
			in.Cursor = value
		case name == "next":
			in.Next = value
		case name == "is":
			in.Session = value
		case name == "status":
			in.Status = int(number(t, value))
		case name == "after":
			in.RetryAfterS = number(t, value)
		default:
			t.Fatalf("the story says %q, which means nothing", word)
		}
	}
	return in
}

// place is the number of a row: its letter, then its digit.
func place(id string) int { return int(id[0])*256 + int((id + "0")[1]) }

func writeEffects(out *strings.Builder, effects []Effect, now int64) {
	for i := 0; i < len(effects); i++ {
		e := effects[i]
		out.WriteString("> " + e.Kind)
		switch e.Kind {
		case Push:
			out.WriteString(" " + strings.Join(e.IDs, " "))
		case Mark: // marks of one kind on one line
			out.WriteString(" " + strings.TrimSpace(e.State+" "+e.Code) + ": " + e.ID)
			for i+1 < len(effects) && effects[i+1].Kind == Mark && effects[i+1].State == e.State && effects[i+1].Code == e.Code {
				i++
				out.WriteString(" " + effects[i].ID)
			}
		case Wake:
			out.WriteString(" +" + strconv.FormatFloat(float64(e.AtMS-now)/1000, 'f', -1, 64) + "s")
		case Pull, ApplyPage:
			out.WriteString(" " + strconv.Quote(e.Cursor))
		}
		out.WriteString("\n")
	}
}

func writeState(out *strings.Builder, s State) {
	out.WriteString("= " + string(s.Mode))
	if s.Need != "" {
		out.WriteString(" for " + string(s.Need))
	}
	out.WriteString(" cursor=" + strconv.Quote(s.Cursor) + " limit=" + strconv.Itoa(s.Limit) + " failures=" + strconv.Itoa(s.Failures) + " pending:")
	for _, p := range s.Pending {
		out.WriteString(" " + p.ID)
		if p.Fails > 0 {
			out.WriteString("!" + strconv.Itoa(p.Fails))
		}
	}
	out.WriteString("\n")
}
