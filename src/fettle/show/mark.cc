#include "fettle/show/mark.h"

#include <fmt/format.h>

#include "fettle/base/text.h"
#include "fettle/show/where.h"

namespace fettle::show {
namespace {

std::string headline(const workshop::Marked& m) {
    const std::string words = printable(m.words);
    if (m.taken_back) {
        switch (m.sign) {
            case workshop::Sign::event: return "Taken back: mark \"" + words + "\".";
            case workshop::Sign::text: return "Taken back: text \"" + words + "\".";
            case workshop::Sign::tally: return "Taken back: tally.";
        }
    }
    if (m.sign == workshop::Sign::tally) return "Kept the tally.";
    if (m.sign == workshop::Sign::event)
        return "Marked: " + (m.words == "broken-off" ? std::string("broken off") : words) + ".";
    if (m.meaning && m.meaning->known)
        return fmt::format("\"{}\": {}. Next: {} ({}).", words, m.meaning->meaning, m.meaning->next,
                           m.meaning->sure.words());
    return fmt::format("\"{}\" is not known to this family; kept word for word.", words);
}

}  // namespace

Answer marked(const workshop::Marked& m) {
    const workshop::RunLook& look = m.look;
    Answer a;
    a.level = look.level;
    a.headline = headline(m);
    a.text = look.where.sentence + "\n";
    if (look.where.state == RunState::broken_off) {
        a.text += "What can have happened and what may be tried: ";
        a.text += propose(Act::mend, {fettle::job(look.job)});
        a.text += "\n";
    } else if (look.where.state == RunState::open) {
        a.text += "If power went now: " + look.where.if_power_went_words + ".\n";
    }
    a.judgement = look.where.judgement;
    a.data = where_as_json(look.where, look.run);
    return a;
}

}  // namespace fettle::show
