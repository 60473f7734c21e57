package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/access"
)

func principalRolesCommand() *cobra.Command {
	return &cobra.Command{
		Use: "roles", Short: "Show what each role may do",
		Long: "Shows what each role may do at the sites that it was given for, as a table in\nMarkdown. What belongs to no site (lots, tools, people, specifications) a role may do\nwhere it has any site.\n\n" + exitCodesText, Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			_, err := io.WriteString(c.OutOrStdout(), rolesTable())
			return err
		},
	}
}

// rolesTable is the table of roles by actions, as the server holds to it.
func rolesTable() string {
	var b strings.Builder
	roles := access.Roles()
	b.WriteString("| may |")
	for _, r := range roles {
		fmt.Fprintf(&b, " %s |", r)
	}
	b.WriteString("\n| --- |" + strings.Repeat(" --- |", len(roles)) + "\n")
	for _, a := range access.Actions() {
		fmt.Fprintf(&b, "| %s |", access.Words(a))
		for _, r := range roles {
			mark := " "
			if access.RoleMay(r, a) {
				mark = " yes "
			}
			fmt.Fprintf(&b, "%s|", mark)
		}
		b.WriteString("\n")
	}
	return b.String()
}
