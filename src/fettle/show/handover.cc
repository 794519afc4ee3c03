#include "fettle/show/handover.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

const char* word(handover::Seal seal) {
    switch (seal) {
        case handover::Seal::unchanged: return "unchanged";
        case handover::Seal::changed: return "changed";
        case handover::Seal::none: break;
    }
    return "none";
}

std::string headline_of(const workshop::SheetChecked& c) {
    switch (c.checked.seal) {
        case handover::Seal::unchanged:
            return fmt::format(
                "Unchanged since sealed by key {}{}.", c.checked.fingerprint,
                c.known_as.empty() ? ", which is not known here" : ", known here as " + printable(c.known_as));
        case handover::Seal::changed: return "Changed: this is not the sheet that was sealed.";
        case handover::Seal::none: break;
    }
    return "No seal: nothing can be said of this file.";
}

}  // namespace

Answer handed_over(const workshop::HandedOver& made) {
    Answer a;
    a.headline = made.headline;
    a.level = made.level;
    a.text = fmt::format("  sheet {}\n  sealed by key {}{}\n", made.file, made.fingerprint,
                         made.key_made_now ? " (made just now; note it down where customers can compare it)" : "");
    a.data = {{"file", made.file},
              {"sheet_sha256", made.sheet_sha256},
              {"key", made.public_key},
              {"fingerprint", made.fingerprint},
              {"headline", made.headline}};
    return a;
}

Answer sheet_checked(const workshop::SheetChecked& c) {
    Answer a;
    a.headline = headline_of(c);
    a.judgement = c.judgement;
    a.text = "  The seal does not prove that what the sheet says is true.\n";
    a.data = {{"seal", word(c.checked.seal)},
              {"key", c.checked.public_key},
              {"fingerprint", c.checked.fingerprint},
              {"known_as", c.known_as},
              {"sheet_sha256", c.checked.sheet_sha256}};
    return a;
}

}  // namespace fettle::show
