package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/user"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"hatchwright/api"
	"hatchwright/openapi"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

const keyUsage = `usage: hatchwright key new -role shop|dealer|storefront -name NAME [-dealer ID or NAME] [-expires TIME] [-data FILE]
       hatchwright key list [-data FILE]
       hatchwright key revoke [-data FILE] ID

Works on the store that the same settings name for serve, also while it runs. new
writes the key to standard output, once; it is kept nowhere.
`

// longestName is what the API takes, characters.
const longestName = 200

// key makes, lists and revokes API keys on the machine: for a shop whose keys are lost,
// and for the first ones. Who may open the store needs no key.
func key(ctx context.Context, s streams, args []string) int {
	todo := map[string]func(context.Context, streams, []string) int{"new": newKey, "list": listKeys, "revoke": revokeKey}
	if len(args) > 0 && todo[args[0]] != nil {
		return todo[args[0]](ctx, s, args[1:])
	}
	fmt.Fprint(s.err, keyUsage)
	if len(args) > 0 && strings.HasPrefix(strings.TrimLeft(args[0], "-"), "h") {
		return exitOK
	}
	return exitUsage
}

// keyFlags reads what the subcommands have in common. The code is -1 when the command
// goes on.
func keyFlags(s streams, flags *flag.FlagSet, args []string) (Config, int) {
	flags.SetOutput(s.err)
	flags.Usage = func() { fmt.Fprint(s.err, keyUsage) }
	c, err := LoadConfig(s.env, flags, args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return c, exitOK
	case err != nil:
		fmt.Fprintf(s.err, "hatchwright %s: %v\n", flags.Name(), err)
		return c, exitUsage
	}
	return c, -1
}

// onStore runs do on the store that the configuration names, which must be there and be
// of this program's version.
func onStore(ctx context.Context, c Config, do func(*service.Service, service.Caller) error) (err error) {
	if c.DatabaseURL == "" {
		if _, err := os.Stat(c.DataFile); err != nil {
			return fmt.Errorf("there is no store to make keys for: %w; give the one of the service by -data, HATCHWRIGHT_DATA or DATABASE_URL, or start the service once", err)
		}
	}
	st, where, err := open(ctx, c)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	current, newest, err := st.Version(ctx)
	switch {
	case err != nil:
		return fmt.Errorf("%s: %w", where, err)
	case current < newest:
		return fmt.Errorf("%s has schema version %d, this program needs %d: start the service once, or run hatchwright migrate", where, current, newest)
	case current > newest:
		return fmt.Errorf("%s has schema version %d, this program knows %d: use the program that the service runs", where, current, newest)
	}
	svc, err := service.New(service.Options{Store: st, Wire: api.Wire{}})
	if err != nil {
		return err
	}
	return do(svc, service.OnMachine(account()))
}

// account is who runs the command, as the audit list names it.
func account() string {
	if u, err := user.Current(); err == nil && u.Username != "" {
		return u.Username
	}
	return "uid " + strconv.Itoa(os.Getuid())
}

// failed says why a command on the store failed.
func (s streams) failed(name string, err error) int {
	fmt.Fprintf(s.err, "hatchwright %s: %v\n", name, err)
	return exitFailure
}

func newKey(ctx context.Context, s streams, args []string) int {
	flags := flag.NewFlagSet("key new", flag.ContinueOnError)
	role := flags.String("role", "", "shop, dealer or storefront")
	name := flags.String("name", "", "what its holder calls it")
	dealer := flags.String("dealer", "", "id or name of the dealer that it is for; left out: the shop's own")
	expires := flags.String("expires", "", "from when on it opens nothing, RFC 3339; left out: never")
	c, code := keyFlags(s, flags, args)
	if code >= 0 {
		return code
	}
	n := service.NewKey{Role: record.Role(*role), Name: *name}
	var faults []error
	switch {
	case !n.Role.Valid():
		faults = append(faults, fmt.Errorf("-role %q: write shop, dealer or storefront", *role))
	case n.Role == record.RoleDealer && *dealer == "":
		faults = append(faults, errors.New("-role dealer: say whose it is by -dealer"))
	case n.Role == record.RoleShop && *dealer != "":
		faults = append(faults, errors.New("-role shop: a shop key belongs to no dealer; leave -dealer out"))
	}
	if n := utf8.RuneCountInString(*name); n < 1 || n > longestName || strings.ContainsFunc(*name, unicode.IsControl) || !utf8.ValidString(*name) {
		faults = append(faults, fmt.Errorf("-name: give 1 to %d characters on one line", longestName))
	}
	if *expires != "" {
		at, err := openapi.ParseTime(*expires)
		if err != nil {
			faults = append(faults, fmt.Errorf("-expires %q: write a time like 2027-12-31T00:00:00Z", *expires))
		}
		n.ExpiresAt = &at
	}
	if flags.NArg() > 0 {
		faults = append(faults, fmt.Errorf("%q is left over: key new takes flags only", flags.Arg(0)))
	}
	if err := errors.Join(faults...); err != nil {
		fmt.Fprintf(s.err, "hatchwright key new: %v\n", err)
		return exitUsage
	}
	var made service.IssuedKey
	err := onStore(ctx, c, func(svc *service.Service, by service.Caller) (err error) {
		if *dealer != "" {
			if n.DealerID, err = findDealer(ctx, svc, by, *dealer); err != nil {
				return err
			}
		}
		created, err := svc.CreateKey(ctx, by, n, nil)
		made = created.Record
		return err
	})
	if err != nil && made.Text == "" {
		return s.failed("key new", err)
	}
	if _, written := fmt.Fprintln(s.out, made.Text); written != nil {
		return s.failed("key new", fmt.Errorf("the key %v was made, but could not be written; revoke it: %w", made.Key.ID, written))
	}
	fmt.Fprintf(s.err, "%s key %v, shown this once\n", made.Key.Role, made.Key.ID)
	if err != nil {
		return s.failed("key new", err)
	}
	return exitOK
}

// findDealer finds a dealer by id or by name.
func findDealer(ctx context.Context, svc *service.Service, by service.Caller, wanted string) (*uuid.UUID, error) {
	if id, err := uuid.Parse(wanted); err == nil {
		return &id, nil
	}
	for page := (store.Page{Limit: store.MaxLimit}); ; {
		l, err := svc.ListDealers(ctx, by, page)
		if err != nil {
			return nil, err
		}
		for _, d := range l.Items {
			if strings.EqualFold(d.Name, wanted) {
				return &d.ID, nil
			}
		}
		if page.Cursor = l.NextCursor; page.Cursor == "" {
			return nil, fmt.Errorf("there is no dealer %q: give the id or the whole name", wanted)
		}
	}
}

func listKeys(ctx context.Context, s streams, args []string) int {
	flags := flag.NewFlagSet("key list", flag.ContinueOnError)
	c, code := keyFlags(s, flags, args)
	if code >= 0 {
		return code
	}
	if flags.NArg() > 0 {
		fmt.Fprintf(s.err, "hatchwright key list: %q is left over: key list takes flags only\n", flags.Arg(0))
		return exitUsage
	}
	table := tabwriter.NewWriter(s.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "ID\tROLE\tNAME\tDEALER\tBEGINS\tMADE\tSTATE\tLAST USED")
	err := onStore(ctx, c, func(svc *service.Service, by service.Caller) error {
		for page := (store.Page{Limit: store.MaxLimit}); ; {
			l, err := svc.ListKeys(ctx, by, store.KeyFilter{}, page)
			if err != nil {
				return err
			}
			for _, k := range l.Items {
				dealer := "-"
				if k.DealerID != nil {
					dealer = k.DealerID.String()
				}
				fmt.Fprintf(table, "%v\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, k.Role, plainText(k.Name), dealer, k.Prefix, moment(&k.CreatedAt), state(k, time.Now()), moment(k.LastUsedAt))
			}
			if page.Cursor = l.NextCursor; page.Cursor == "" {
				return nil
			}
		}
	})
	if err == nil {
		err = table.Flush()
	}
	if err != nil {
		return s.failed("key list", err)
	}
	return exitOK
}

// state is what a key opens at a time.
func state(k record.Key, at time.Time) string {
	switch {
	case k.RevokedAt != nil:
		return "revoked " + moment(k.RevokedAt)
	case k.ExpiresAt == nil:
		return "opens"
	case k.LiveAt(at):
		return "opens until " + moment(k.ExpiresAt)
	}
	return "over since " + moment(k.ExpiresAt)
}

func moment(t *time.Time) string {
	if t == nil {
		return "-"
	}
	return t.UTC().Format(time.RFC3339)
}

// plainText is a text that does nothing to a terminal or a table.
func plainText(text string) string {
	if text == "" {
		return "-"
	}
	if strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return strconv.QuoteToGraphic(text)
	}
	return text
}

func revokeKey(ctx context.Context, s streams, args []string) int {
	flags := flag.NewFlagSet("key revoke", flag.ContinueOnError)
	c, code := keyFlags(s, flags, args)
	if code >= 0 {
		return code
	}
	if flags.NArg() != 1 {
		fmt.Fprintln(s.err, "hatchwright key revoke: give one id, as key list shows it")
		return exitUsage
	}
	id, err := uuid.Parse(flags.Arg(0))
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright key revoke: %q is not an id, as key list shows it\n", flags.Arg(0))
		return exitUsage
	}
	err = onStore(ctx, c, func(svc *service.Service, by service.Caller) error { return svc.RevokeKey(ctx, by, id) })
	if err != nil {
		return s.failed("key revoke", err)
	}
	fmt.Fprintf(s.out, "%v opens nothing any more\n", id)
	return exitOK
}
