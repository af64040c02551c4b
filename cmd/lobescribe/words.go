package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lobescribe/device/nearest"
)

// sayWhatToDo makes a command and all below it refuse wrong words with what was
// probably meant, or with how the command is called.
func sayWhatToDo(cmd *cobra.Command) {
	cmd.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return fmt.Errorf("%s; %s --help lists the flags", flagWords(cmd, err), cmd.CommandPath())
	})
	if accepts := cmd.Args; accepts != nil {
		cmd.Args = func(cmd *cobra.Command, args []string) error {
			if accepts(cmd, args) == nil {
				return nil
			}
			return argsWords(cmd, args)
		}
	}
	for _, c := range cmd.Commands() {
		sayWhatToDo(c)
	}
}

// argsWords says what is wrong with the words behind a command.
func argsWords(cmd *cobra.Command, args []string) error {
	if cmd.HasAvailableSubCommands() && len(args) > 0 {
		return fmt.Errorf("there is no command %q%s; %s --help lists them", args[0], didYouMean(args[0], namesOf(cmd.Commands()), ""), cmd.CommandPath())
	}
	_, takes, _ := strings.Cut(cmd.Use, " ")
	switch {
	case takes == "" && len(args) > 0:
		return fmt.Errorf("%q is a word too many: %s takes none but flags; %[2]s --help lists them", args[0], cmd.CommandPath())
	case len(args) == 0:
		return fmt.Errorf("a word is missing: %s; %s --help says more", call(cmd), cmd.CommandPath())
	}
	return fmt.Errorf("%q is a word too many: %s; %s --help says more", args[len(args)-1], call(cmd), cmd.CommandPath())
}

// call is how a command is called, flags apart.
func call(cmd *cobra.Command) string {
	return strings.TrimSuffix(cmd.CommandPath()+strings.TrimPrefix(cmd.Use, cmd.Name()), " [flags]")
}

// flagWords says what is wrong with a flag.
func flagWords(cmd *cobra.Command, err error) string {
	var unknown *pflag.NotExistError
	var empty *pflag.ValueRequiredError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown):
		name := unknown.GetSpecifiedName()
		if short := unknown.GetSpecifiedShortnames(); short != "" {
			return fmt.Sprintf("there is no flag -%s", name)
		}
		var names []string
		cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
		return fmt.Sprintf("there is no flag --%s%s", name, didYouMean(name, names, "--"))
	case errors.As(err, &empty):
		return fmt.Sprintf("--%s wants a value behind it: %s", empty.GetFlag().Name, empty.GetFlag().Usage)
	case errors.As(err, &invalid):
		return fmt.Sprintf("--%s cannot be %q: %s", invalid.GetFlag().Name, invalid.GetValue(), valueWords(invalid))
	}
	return err.Error()
}

// valueWords says what a flag takes. Our own kinds of value say it themselves.
func valueWords(e *pflag.InvalidValueError) string {
	var number *strconv.NumError
	switch kind := e.GetFlag().Value.Type(); {
	case kind == "duration":
		return "expected a time, such as 30s or 5m"
	case kind == "bool":
		return "expected true or false"
	case errors.As(e, &number) && strings.HasPrefix(kind, "float"):
		return "expected a number, such as 0.5"
	case errors.As(e, &number):
		return "expected a whole number"
	}
	return plainly(e.Unwrap())
}

// didYouMean asks for the nearest of names, if one is near.
func didYouMean(word string, names []string, before string) string {
	if near := nearest.Word(word, names); near != "" {
		return fmt.Sprintf("; did you mean %s%s?", before, near)
	}
	return ""
}
