// Package door decides who gets in to the dashboard.
//
// The daemon listens on a bench computer, where a browser also shows pages
// from elsewhere, and perhaps on a workshop network with strangers on it. Three
// kinds of visitor must stay out: a page elsewhere that sends requests from the
// user's own browser (foreign Origin), a name elsewhere that was pointed at
// this machine so that its page counts as ours (DNS rebinding: foreign Host),
// and anybody on the network without the key.
//
// The rules, in the order they are tried:
//
//   - Without LAN, only connections that arrive on a loopback address.
//   - Host must be a name of ours with the port the connection came in on.
//     Names of ours are localhost, 127.0.0.1 and [::1]; with LAN also the very
//     address the connection came in on and the names given. Comparing Origin
//     with Host alone would not help: a rebound name is the same in both.
//   - An Origin that is not ours is refused, whatever the method. So is a
//     request that the browser itself marks as coming from another site, except
//     following a link to a page.
//   - With LAN, every request needs the key: in ?key= (once: it is exchanged
//     for a cookie and taken off the address), in the cookie, or as
//     "Authorization: Bearer".
//   - What names a device ([Door.NamesDevice]) needs the key, or an Origin
//     that is there and ours.
//
// Every answer carries the headers that keep a page from being framed, sniffed
// or given foreign script. The key never appears in an error or a Referer, nor in
// a line of a log behind [Scrub].
//
// The package assumes that nothing stands between it and the browser: forwarded
// headers are not believed.
package door
