package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"jointledger/internal/carry/pack"
	"jointledger/internal/ledger"
)

// Shells complete names from carried data alone: they ask at every press of a key,
// and there may be no signal.

// completing says whether a shell asks what a word may be.
func completing(args []string) bool {
	return len(args) > 0 && (args[0] == cobra.ShellCompRequestCmd || args[0] == cobra.ShellCompNoDescRequestCmd)
}

// completes gives every command below one the completion of its arguments and flags,
// after the words that stand for them in the help: LOT, JOINT, PLACE. The commands
// need not know of it, and only a shell that completes waits for it.
func (a *app) completes(cmd *cobra.Command) {
	words := strings.Fields(cmd.Use)
	if len(words) > 1 && cmd.ValidArgsFunction == nil && cmd.Name() != "add" {
		cmd.ValidArgsFunction = func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
			word := words[min(1+len(args), len(words)-1)]
			if 1+len(args) >= len(words) && !strings.Contains(word, "...") {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return a.candidates(strings.Trim(word, "[]."), cmd, args, typed)
		}
	}
	each := func(f *pflag.Flag) {
		word, _ := pflag.UnquoteUsage(f)
		if f.Name == "batch" {
			word = "BATCH"
		}
		if !slices.Contains(completedWords, word) {
			return
		}
		// A flag that has a completion of its own keeps it.
		_ = cmd.RegisterFlagCompletionFunc(f.Name, func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
			return a.candidates(word, cmd, args, typed)
		})
	}
	cmd.LocalFlags().VisitAll(each)
	cmd.PersistentFlags().VisitAll(each)
	for _, sub := range cmd.Commands() {
		a.completes(sub)
	}
}

// completedWords are the words of the help that names of carried data stand for.
var completedWords = []string{"LOT", "SERIAL", "TOOL", "SPEC", "PERSON", "BATCH", "SITE", "TOWER", "CELL", "JOINT", "PLACE",
	"SITE/TOWER", "SITE/TOWER/CELL", "SITE/TOWER/CELL/JOINT", "PLACE|lots|tools"}

// placeDepths are the depths of the places that a word stands for.
func placeDepths(word string, cmd *cobra.Command) []int {
	switch word {
	case "SITE":
		return []int{1}
	case "TOWER", "SITE/TOWER":
		return []int{2}
	case "CELL", "SITE/TOWER/CELL":
		return []int{3}
	case "JOINT", "SITE/TOWER/CELL/JOINT":
		return []int{4}
	}
	switch strings.TrimPrefix(cmd.CommandPath(), "trackctl ") {
	case "progress", "ready", "handover", "joint list":
		return []int{1, 2, 3}
	case "cell list":
		return []int{1, 2}
	case "hold place", "sign-off":
		return []int{2, 3, 4}
	}
	return []int{1, 2, 3, 4}
}

// candidates are what a word that is being typed may become.
func (a *app) candidates(word string, cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	if !slices.Contains(completedWords, word) {
		return nil, cobra.ShellCompDirectiveDefault
	}
	packs := a.packsNear(args)
	var names []candidate
	switch word {
	case "LOT":
		names = namesOf(packs, lotsNamed)
	case "SERIAL", "TOOL":
		names = namesOf(packs, toolsNamed)
	case "SPEC":
		names = namesOf(packs, specificationsNamed)
	case "PERSON":
		names = namesOf(packs, peopleNamed)
	case "BATCH":
		names = namesOf(packs, batchesNamed)
	default:
		return a.placeCandidates(typed, placeDepths(word, cmd))
	}
	return offered(names, typed), cobra.ShellCompDirectiveNoFileComp
}

// candidate is a name that may be meant, with a few words on it.
type candidate struct{ name, about string }

// offered are the names that begin as was typed, in whatever case, each spelt as it
// was begun: a shell compares letter by letter.
func offered(names []candidate, typed string) []string {
	var all []string
	for _, n := range names {
		if len(n.name) < len(typed) || !strings.EqualFold(n.name[:len(typed)], typed) {
			continue
		}
		text := typed + n.name[len(typed):]
		if n.about != "" {
			text = cobra.CompletionWithDesc(text, n.about)
		}
		all = append(all, text)
	}
	return all
}

// packsNear are the carried data that names are taken from: those of the site that an
// argument before names, else of the site of the current place, else of all sites.
func (a *app) packsNear(args []string) []*pack.Pack {
	var site string
	for _, arg := range args {
		if place, err := a.placeHere(arg, 1, 2, 3, 4); err == nil {
			site = place.Site
		}
	}
	if here, ok, err := a.here(); site == "" && err == nil && ok {
		site = here.Site
	}
	if p, ok, err := a.carriedFor(site); site != "" && err == nil && ok {
		return []*pack.Pack{p}
	}
	return a.allPacks()
}

// allPacks are the carried data of all sites; damaged ones offer nothing.
func (a *app) allPacks() []*pack.Pack {
	sites, err := a.sitesCarried()
	if err != nil {
		return nil
	}
	var packs []*pack.Pack
	for _, site := range sites {
		if p, ok, err := a.carriedFor(site); err == nil && ok {
			packs = append(packs, p)
		}
	}
	return packs
}

// namesOf puts the names of several sites together, each once, sorted.
func namesOf(packs []*pack.Pack, of func(*pack.Pack) []candidate) []candidate {
	var all []candidate
	for _, p := range packs {
		all = append(all, of(p)...)
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return strings.Compare(a.name, b.name) })
	return slices.CompactFunc(all, func(a, b candidate) bool { return a.name == b.name })
}

func lotsNamed(p *pack.Pack) []candidate {
	var all []candidate
	for _, number := range p.Lots() {
		l, ok := p.Lot(number)
		if !ok {
			continue
		}
		about := fmt.Sprintf("%s, %d on hand", l.Lot.Fastener.Thread, l.OnHand)
		for _, h := range l.Holds {
			if h.Open(p.AsOf()) {
				about = l.Lot.Fastener.Thread + ", on hold"
			}
		}
		all = append(all, candidate{number, about})
	}
	return all
}

func toolsNamed(p *pack.Pack) []candidate {
	var all []candidate
	for _, serial := range p.Tools() {
		t, ok := p.Tool(serial)
		if !ok {
			continue
		}
		about := strings.ReplaceAll(ledger.ToolKinds.Name(t.Tool.Kind), "-", " ")
		if t.Tool.MaximumNewtonMetres > 0 {
			about += fmt.Sprintf(", to %s N.m", rounded(t.Tool.MaximumNewtonMetres, 1))
		}
		all = append(all, candidate{serial, about})
	}
	return all
}

func specificationsNamed(p *pack.Pack) []candidate {
	var all []candidate
	for _, code := range p.Specifications() {
		revisions := p.Revisions(code)
		if len(revisions) == 0 {
			continue
		}
		newest := revisions[len(revisions)-1]
		all = append(all, candidate{code, fmt.Sprintf("%s, %s N.m", newest.Fastener.Thread, rounded(newest.TorqueNewtonMetres, 1))})
	}
	return all
}

func peopleNamed(p *pack.Pack) []candidate {
	var all []candidate
	for _, v := range p.People() {
		all = append(all, candidate{v.ID, v.Name})
	}
	return all
}

func batchesNamed(p *pack.Pack) []candidate {
	var all []candidate
	for _, b := range p.Batches() {
		about := strings.ReplaceAll(ledger.ConsumableKinds.Name(b.Kind), "-", " ")
		if b.ExpireDate != "" {
			about += ", until " + b.ExpireDate
		}
		all = append(all, candidate{b.Number, about})
	}
	return all
}
