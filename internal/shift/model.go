package shift

import (
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Model is the state of the mode.
type Model struct {
	work Work
	with With
	// ascii says that the terminal shows no more than ASCII.
	ascii         bool
	width, height int

	joints  []Joint
	loaded  bool
	loadErr error
	// cursor is the joint that keys act on; top is the row of the list that is shown
	// first.
	cursor, top int
	// all says that the joints which are done are listed too; else only those that
	// were done in this shift or looked for.
	all bool

	standing Standing
	// entries counts what was kept and undone, so that joints which were read before it
	// are known to be.
	entries int
	// screen is what is over the list; nil for the list itself.
	screen screen
	// said is what is below the list.
	said said
	// made are the entries of this shift, the oldest first.
	made []*made
	// note goes with the next entry.
	note string
	// keeping says that an entry or an undo is on its way to the disk; early are the
	// answers of the server that came before it was said to be there.
	keeping bool
	early   []Answer
	// sealing is what was typed for the last seal, offered for the next.
	sealing sealedWith
	// confirmed is when the key that confirms was last down.
	confirmed time.Time
	// ending says that the key that ends was pressed once.
	ending, ended bool
}

// screen is what covers the list while something is chosen, typed or read.
type screen interface {
	// key takes a key.
	key(m *Model, k tea.KeyPressMsg) tea.Cmd
	// lines are at most height lines of at most width columns.
	lines(m *Model, width, height int) []string
	// keys says which keys it takes, in a few words each.
	keys(m *Model) []string
}

// loadAgain is how long an entry that is on its way is waited for before the joints are
// read again.
const loadAgain = 200 * time.Millisecond

// made is one entry of this shift.
type made struct {
	id     uuid.UUID
	at     time.Time
	record ledger.Record
	// summary says in a few words what it tells.
	summary string
	joint   ledger.Place
	said    said
	state   madeState
	reason  string
}

// madeState says what became of an entry.
type madeState uint8

const (
	stateWaiting madeState = iota
	stateSent
	stateRefused
	stateUndone
)

func (s madeState) String() string {
	return [...]string{"waiting to be sent", "sent", "REFUSED", "undone"}[s]
}

// Messages of what was asked for.
type (
	jointsMsg struct {
		joints []Joint
		err    error
		// entries is how many the model had counted when they were asked for.
		entries int
	}
	loadMsg     struct{}
	standingMsg struct{ standing Standing }
	keptMsg     struct {
		made *made
		kept Kept
		err  error
	}
	undoneMsg struct {
		made *made
		err  error
	}
)

// New makes the mode; with is what the work is done with at first, ascii says that
// the terminal shows no more than ASCII.
func New(work Work, with With, ascii bool) *Model {
	if with.Method == 0 {
		with.Method = ledger.DrivenByHand
	}
	m := &Model{work: work, with: with, ascii: ascii, width: 80, height: 24}
	for _, sentence := range work.Opening {
		m.said.lines = append(m.said.lines, spoken{mark: "LOOK", words: sentence, severity: rules.Warn})
	}
	m.said.lines = append(m.said.lines, spoken{words: work.Caution})
	return m
}

// Init asks for the joints and for how things stand.
func (m *Model) Init() tea.Cmd {
	return tea.Batch(m.load(), m.look(0))
}

// load reads the joints.
func (m *Model) load() tea.Cmd {
	entries := m.entries
	return func() tea.Msg {
		joints, err := m.work.Joints()
		return jointsMsg{joints, err, entries}
	}
}

// busy says that the joints must stay as they are for now.
func (m *Model) busy() bool { return m.keeping || m.screen != nil }

// loadLater reads the joints again once nothing is in the way.
func (m *Model) loadLater() tea.Cmd {
	return tea.Tick(loadAgain, func(time.Time) tea.Msg { return loadMsg{} })
}

// look asks how things stand when there is something new, and at least so often.
func (m *Model) look(every time.Duration) tea.Cmd {
	return func() tea.Msg {
		if every > 0 {
			t := time.NewTimer(every)
			defer t.Stop()
			select {
			case <-m.work.Changed:
			case <-t.C:
			}
		}
		return standingMsg{m.work.Standing()}
	}
}

// Update takes a message.
func (m *Model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
	case tea.KeyPressMsg:
		return m, m.press(msg)
	case tea.PasteMsg:
		m.paste(msg.Content)
		return m, nil
	case jointsMsg:
		if m.loaded && (msg.entries != m.entries || m.busy()) {
			// An entry came in between, and may or may not be counted in them; or something
			// is chosen or typed for a joint as it is.
			return m, m.loadLater()
		}
		m.take(msg)
	case loadMsg:
		if m.busy() {
			return m, m.loadLater()
		}
		return m, m.load()
	case standingMsg:
		back := msg.standing.Online && !m.standing.Online
		newer := msg.standing.Data != m.standing.Data
		m.standing = msg.standing
		if newer {
			m.work.Source = msg.standing.Source
		}
		for _, a := range msg.standing.Answers {
			m.answered(a)
		}
		if newer || back && m.loadErr != nil {
			return m, tea.Batch(m.load(), m.look(time.Second))
		}
		return m, m.look(time.Second)
	case keptMsg:
		return m, m.kept(msg)
	case undoneMsg:
		return m, m.undone(msg)
	}
	return m, nil
}

// press hands a key to what is in front.
func (m *Model) press(k tea.KeyPressMsg) tea.Cmd {
	if k.String() == "ctrl+c" {
		return m.end()
	}
	// Over a poor line Esc and the key after it come together, which reads as that key
	// with Alt.
	if k.Mod == tea.ModAlt && k.Code != tea.KeyEscape {
		plain := tea.KeyPressMsg{Code: k.Code}
		if k.Code >= ' ' && k.Code < tea.KeyExtended {
			plain.Text = string(k.Code)
		}
		return tea.Sequence(m.press(tea.KeyPressMsg{Code: tea.KeyEscape}), m.press(plain))
	}
	if m.screen != nil {
		return m.screen.key(m, k)
	}
	return m.listKey(k)
}

// paste types what was pasted, where something is being typed.
func (m *Model) paste(text string) {
	if typing, ok := m.screen.(interface{ typed(*Model, string) }); ok {
		typing.typed(m, m.words(text))
	}
}

// end leaves; an entry that is on its way to the disk is waited for.
func (m *Model) end() tea.Cmd {
	m.ended = true
	if m.keeping {
		m.say("waiting for the entry to be kept")
		return nil
	}
	return tea.Quit
}

// take shows the joints that were asked for; the joint that keys act on stays.
func (m *Model) take(msg jointsMsg) {
	if msg.err != nil {
		if m.loaded && m.loadErr == nil {
			m.warn("LOOK", "the joints can't be read again: %s; these are as they were", sentenceOf(msg.err))
			return
		}
		m.loaded, m.loadErr = true, msg.err
		return
	}
	before := m.current()
	shown := map[ledger.Place]bool{}
	for i := range m.joints {
		shown[m.joints[i].Place] = !m.joints[i].hidden
	}
	m.loaded, m.loadErr, m.joints = true, nil, msg.joints
	for i := range m.joints {
		m.joints[i].hidden = m.joints[i].done() && !shown[m.joints[i].Place]
	}
	m.cursor = 0
	switch {
	case before != nil:
		m.goTo(before.Place)
	case len(m.joints) > 0 && m.joints[0].done():
		m.next()
	}
}

// Made says how many entries of this shift stand, and how many of them are still
// to be sent.
func (m *Model) Made() (stand, waiting int) {
	for _, e := range m.made {
		if e.state == stateUndone {
			continue
		}
		stand++
		if e.state == stateWaiting {
			waiting++
		}
	}
	return stand, waiting
}
