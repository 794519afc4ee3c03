// Errors as values. Everything that can go wrong because of the outside world (a file, a card, a box, a typed word)
// is returned as an Error; exceptions are kept for broken invariants, that is for bugs.
#pragma once

#include <string>
#include <tl/expected.hpp>
#include <utility>

#include "fettle/base/next.h"

namespace fettle {

// What the caller can do about it; the command line turns the kind into its exit code.
enum class ErrorKind {
    usage,      // the request itself is wrong (exit 2)
    bad_input,  // a file, package, card or family file is not what it must be (exit 3)
    outside,    // a device, link, database or disk failed (exit 4)
};

// A message in three parts, each a clause without a final full stop.
struct Error {
    ErrorKind kind = ErrorKind::bad_input;
    std::string code;     // stable, kebab-case, listed in docs/reasons.md
    Words place;          // file, offset, line, key, address, or an argument: with(flag("by")); may be empty
    std::string problem;  // what was found and what was expected
    Next next;            // what the technician can do now

    // "place: problem. Next: …" on one line; acts as `shown` shows them (Next::words).
    std::string message(const std::function<std::string(const Proposal&)>& shown = {}) const;
};

template <class T>
using Result = tl::expected<T, Error>;
using Status = Result<void>;

// Short makers, so that a failing branch reads as one statement: return bad_input("code", "place", "problem", "next");
tl::unexpected<Error> usage_error(std::string code, Words place, std::string problem, Next next);
tl::unexpected<Error> bad_input(std::string code, Words place, std::string problem, Next next);
tl::unexpected<Error> outside_error(std::string code, Words place, std::string problem, Next next);

// Pass an error on: if (!r) return pass(r);
template <class T>
tl::unexpected<Error> pass(Result<T>& r) {
    return tl::unexpected<Error>(std::move(r.error()));
}
template <class T>
tl::unexpected<Error> pass(const Result<T>& r) {
    return tl::unexpected<Error>(r.error());
}

}  // namespace fettle
