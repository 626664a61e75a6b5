// Package web is the shop's memory as pages in a browser, on this machine, and on
// other devices that the owner let in. It draws and takes forms; what is done it calls package app for, and what it
// shows app and projections have worked out. A page that compares dates is in the
// wrong room.
//
// # How a request goes
//
// guard.go puts around every page, from the outside: the headers, the list of
// names that the page answers to (421 for any other), the standard library's
// protection against requests that another site sends (403), the cookie of a
// browser that was let in (401), and how much may be sent (413). Then routes.go
// finds the room, request.go runs it, and an error that it gives is shown by its
// class (app.ClassOf). What is drawn is drawn whole before any of it is sent.
//
// A browser is let in by a token in the start address, which serve prints: it
// works once, within an hour, and gives a cookie. Nothing of that is written
// down, so a page that was started anew is come into anew.
//
// # Other devices
//
// landoor.go serves the same rooms on one address of the local network, while that
// is turned on: over TLS, with a list of names of its own, cross-origin protection
// as above, and a session that a device gets for a code (app.Lan). Neither door
// takes what opens the other. A device that may only look is stopped before any
// room if it asks with anything but GET or HEAD, unless the room has looks in
// routes.go: that is posted to and writes nothing. A room with own in routes.go is
// closed to every device; and a device that is not to see customers' names is given
// a shop that can't open them (app.Shop.Veiled), so that no room needs to think of
// it. A room that shows what a person's name is by another way must be own.
//
// # Beside the pages
//
// besides.go begins what goes on while a shop is open here: hosting and watching
// (app.Duties), the local network, files that were brought, and the weekly check of
// everything (app.Scrubs). What goes wrong there is said on Benches, or on Check-up,
// and ends nothing.
//
// What a person begins and then waits for long is an errand (errand.go): a check of
// everything, a backup. One of a sort goes on at a time, no page waits for it, and its
// page asks each second how far it is. Of a passphrase nothing is kept but by what
// goes on.
//
// # Rooms
//
// pages in routes.go is the table of all rooms. A page has a name, a template of
// that name, and where the menu should have it a word for that. A room without a
// name is a part of one: what is fetched into an open page, or posted to. GET
// changes nothing. A page with a name needs a row in everyLook of the tests,
// which look at it in a real browser.
//
// # Parts
//
// parts.html has the parts that pages are made of, lines.go and form.go the
// finished values that they take: unitline, interval, entry, table, picture,
// form, trouble. functions.go has what templates may call. unturn.go shows the signs in a
// drawn page that would turn the words behind them.
//
// # Forms
//
// A form is a value (form.go) that is drawn, taken and drawn again with what was
// typed and what is wrong. request.post does all of that: it acts once for each
// id that a form carries, however often it is sent, and answers with the page
// that comes next. Without script it is a form as any other.
//
// # The bench
//
// acts in benchforms.go is the table of what is done at a unit's bench page: one
// row an action, with the letter that opens its form, its fields, and what it
// calls of package app; each saves what the command of its name saves, and a test
// compares the two. Forms begin with what the last unit of the model had
// (app.Habits), and an echo (echo.go) reads back what is typed; beside a reading it
// tells what other sets of the model read at the point (app.Shop.Norm).
//
// Such a form goes through request.save in place of request.post (unsentforms.go).
// It saves once also when the program was started anew between two sendings: the
// form's id is marked in the batch that saves it (app.Shop.Once). What is typed
// and not saved lies in the shop's folder (app.Unsent), put there while somebody
// types by static/forms.js and, where a form was refused, by the room; the form is
// drawn with it until it is saved or thrown away. Two windows with the same form
// of the same unit keep one of these between them, the later.
// A word that no table has is refused with a button that adds it (words.go). It is
// added as an entry of its own before the form's, and only while it stands in the form.
// A form carries what was seen of its unit when it was drawn; what was written
// since is said beside "saved", and hinders nothing.
//
// # Sums
//
// sumspage.go is the table of the bench's sums (package sums), each a form that goes
// by GET, saves nothing and needs no shop. Beside the forms of the bench the same is
// said as it is typed: readback.go of one reading, app.VisitSums of the readings of
// one visit, dating.go of date codes. A year that codes propose is offered where none
// is typed or stated; forms.js takes it over, and without script the form's own
// button, by drawing the form again (form.Reread).
//
// # Test sheets
//
// A unit's test sheet is a form of its own (bysheet.go, test.html): a row for each
// check, whose field asks /judge while it is typed, which answers with how all rows
// stand, since one may be relative to another. What it holds is kept under the
// name that the command line keeps a walk under (app.TestForm). A sheet is changed
// as text (testsheets.go).
//
// # News
//
// A page whose main part shows something alive has data-live on that part, from
// request.alive, and waits for the event ledger (hx-trigger="ledger from:body").
// live.go tells it, over one connection a page, when what it shows is another;
// page.js then lets htmx fetch the part anew. The part is drawn by the same room:
// request.wantsPart tells the two askings apart. While something is typed in such a
// part and not sent, it is left as it is and the person is told: long forms do not
// belong into one.
//
// Pages that only tell (today, fleet, year, model) are shown by request.live
// (living.go): it draws their part once for all that ask until what it shows is
// another, and answers 204 where a browser has the very part already.
//
// # Answers
//
// A fleet question's page has its filters in the address, under the names that
// the flags of the command line have (fleetform.go); what it takes stands in
// projections.Questions. Tables are read from an answer's rows by their keys
// (fleettable.go): a value and its limits are one cell, and a further question is
// shown without a change here. A number that counts units leads to their list
// (units.go): rowNames has which numbers do, and by which of its texts a row is named
// in the address; how often a unit counts, projections.EachBehind knows. A grid of more
// columns than a picture holds is drawn in one piece, in a box that scrolls. The year goes on two sheets of paper; what is added
// to it has to fit there, which a test looks at.
//
// # Paper
//
// record.go draws the value that the PDF is made of (package report), so that page and
// paper can't say different things; it prints by itself too. tags.go shows labels as
// package tags draws them. readtag.go reads the code in a photo of one: the photo is
// shrunk first (package photo) and kept nowhere. What is downloaded goes through
// request.sendFile: the policy lets no PDF be shown inside a page.
//
// # Script and style
//
// One stylesheet, which has the pictures' too; htmx, brought in whole (VENDOR);
// two scripts of our own, page.js and forms.js. No page has any of them in it: the
// policy would not let it run. All of it only makes quicker what works without.
//
// # What the process holds
//
// /running says how many goroutines and how much memory the page's process has, and
// /running/where at what each goroutine is (running.go). They are read by people who
// wonder whether the program grows, and by package soak; nothing of the shop is in them,
// and no other device is shown them.
//
// # What this does not protect against
//
// A cookie belongs to this machine's name and not to a port: a server of another
// user of this machine, at 127.0.0.1, is sent it by a browser that goes there.
// The start address is handed to the desktop's opener, whose arguments others on
// the machine may see for the moment until the browser has used it.
package web
