package exercise

// Danger is something done that would hurt somebody or break something at a real bench.
type Danger struct {
	Code  string `json:"code"`
	Words string `json:"words"`
}

// cautionsUnread is the code of a run that was made before the job card was read.
const cautionsUnread = "cautions-unread"

// dangers are what codes mean, in words for the trainee.
var dangers = map[string]string{
	cautionsUnread: "The drives acted before the cautions on the job card were read: sirens sound, relays switch what hangs on them. Read the card first.",
}

func dangerOf(code string) Danger { return Danger{code, dangers[code]} }
