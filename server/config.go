package main

import (
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strconv"
	"time"
)

// config is every setting of the server, checked.
type config struct {
	addr      string        // host:port to listen on
	data      string        // folder of the database, the signing key and the epoch
	demo      bool          // fill an empty database with invented records
	publicURL *url.URL      // as the phones reach it; https makes cookies Secure
	logLevel  slog.Level    // least level that is logged
	stopWait  time.Duration // how long running requests may take when the server stops
}

// setting is one line of the help: a flag, the environment variable that
// stands for it, and what holds where neither is given.
type setting struct{ flag, env, standard, line string }

func settings() []setting {
	return []setting{
		{"addr", "BRIMLINE_ADDR", "127.0.0.1:8080", "address to listen on, host:port"},
		{"data", "BRIMLINE_DATA", "./data", "folder of the database and the signing key; made if it is missing"},
		{"demo", "BRIMLINE_DEMO", "false", "fill an empty database with invented records and print their sign-ins"},
		{"public-url", "BRIMLINE_PUBLIC_URL", "", "address the phones use; https makes cookies Secure; empty: http and the address listened on"},
		{"log", "BRIMLINE_LOG", "info", "least level that is logged: debug, info, warn or error"},
		{"stop-s", "BRIMLINE_STOP_S", "10", "seconds that running requests may take when the server stops"},
	}
}

// readConfig takes each setting from its flag, else from the environment, else
// its standard, and checks all of them.
func readConfig(w world, args []string) (config, error) {
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	flags.SetOutput(w.err)
	value := map[string]string{}
	for _, s := range settings() {
		value[s.flag] = s.standard
		if v, ok := w.lookup(s.env); ok {
			value[s.flag] = v
		}
		keep := func(v string) error { value[s.flag] = v; return nil }
		if s.flag == "demo" {
			flags.BoolFunc(s.flag, s.line, keep)
		} else {
			flags.Func(s.flag, s.line, keep)
		}
	}
	if err := flags.Parse(args); err != nil {
		return config{}, errors.Join(err, errUsage)
	}
	if flags.NArg() > 0 {
		return config{}, fmt.Errorf("%q is not a flag of serve; %w", flags.Arg(0), errUsage)
	}
	return checkConfig(value)
}

func checkConfig(value map[string]string) (config, error) {
	c := config{addr: value["addr"], data: value["data"]}
	if _, _, err := net.SplitHostPort(c.addr); err != nil {
		return c, fmt.Errorf("addr: must be host:port such as 127.0.0.1:8080: %w", err)
	}
	if c.data == "" {
		return c, errors.New("data: must name a folder")
	}
	var err error
	if c.demo, err = strconv.ParseBool(value["demo"]); err != nil {
		return c, errors.New("demo: must be true or false")
	}
	public := value["public-url"]
	if public == "" {
		public = "http://" + c.addr
	}
	if c.publicURL, err = url.Parse(public); err != nil || c.publicURL.Host == "" || c.publicURL.Scheme != "http" && c.publicURL.Scheme != "https" {
		return c, errors.New("public-url: must be an address such as https://brimline.example")
	}
	if err := c.logLevel.UnmarshalText([]byte(value["log"])); err != nil {
		return c, errors.New("log: must be debug, info, warn or error")
	}
	seconds, err := strconv.Atoi(value["stop-s"])
	if err != nil || seconds < 1 || seconds > 600 {
		return c, errors.New("stop-s: must be whole seconds from 1 to 600")
	}
	c.stopWait = time.Duration(seconds) * time.Second
	return c, nil
}
