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
            case workshop::Sign::lasted: break;
        }
    }
    if (m.sign == workshop::Sign::tally) return "Kept the tally.";
    if (m.sign == workshop::Sign::lasted)
        return m.words == "not-known" ? "Kept: how long it took is not known; it teaches nothing."
               : m.words == "as-marked"
                   ? "Kept: it lasted as marked."
                   : "Kept: it lasted " + human_duration(number_in<double>(m.words).value_or(0)) + ".";
    if (m.sign == workshop::Sign::event)
        return "Marked: " + (m.words == "broken-off" ? std::string("broken off") : words) + ".";
    if (m.meaning && m.meaning->known)
        return fmt::format("\"{}\": {}. Next: {} ({}).", words, m.meaning->meaning, m.meaning->next,
                           m.meaning->sure.words());
    return fmt::format("\"{}\" is not known to this family; kept word for word.", words);
}

}  // namespace

std::string whose_unit(const book::Job& job) {
    std::string out = "Job " + job.number + ": customer " + printable(job.customer);
    if (!job.vehicle.empty()) out += ", " + printable(job.vehicle);
    for (const auto& [role, plate] : job.plates) out += ", " + printable(role) + " " + printable(plate);
    return out + ".";
}

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
    a.judgement = look.judgement;
    a.data = where_as_json(look.where, look.run);
    return a;
}

}  // namespace fettle::show
