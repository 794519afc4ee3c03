#include "fettle/show/family_travel.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/family.h"

namespace fettle::show {
namespace {

using family::Difference;
using Kind = Difference::Kind;
using workshop::ImportedFamily;

std::string side_by_side(const Difference& d) {
    std::string out;
    const auto side = [&](const char* which, const std::vector<std::string>& lines) {
        if (lines.empty()) out += fmt::format("      {:<6} not there\n", which);
        for (std::size_t i = 0; i < lines.size(); ++i)
            out += fmt::format("      {:<6} {}\n", i == 0 ? which : "", printable(lines[i]));
    };
    side("here", d.here);
    side("there", d.there);
    return out;
}

std::string_view code_of(Kind kind) {
    switch (kind) {
        case Kind::tightens: return "tightens";
        case Kind::loosens: return "loosens";
        case Kind::by_hand: return "by-hand";
    }
    return "";
}

// What was taken, what is asked under its number, and what is left to a person.
void add_differences(const ImportedFamily& f, Answer& a) {
    std::string taken_text, asked_text, hand_text;
    json::array list;
    std::size_t number = 0;
    for (std::size_t i = 0; i < f.differences.size(); ++i) {
        const Difference& d = f.differences[i];
        const bool taken = f.taken.contains(i);
        json::object entry{{"entry", d.entry},
                           {"here", texts_as_json(d.here)},
                           {"there", texts_as_json(d.there)},
                           {"kind", code_of(d.kind)},
                           {"taken", taken}};
        if (d.kind == Kind::loosens) entry["number"] = ++number;
        list.push_back(std::move(entry));
        if (d.kind == Kind::by_hand)
            hand_text += fmt::format("    {}: {}\n{}", printable(d.entry), printable(d.why), side_by_side(d));
        else if (taken)
            taken_text += fmt::format("    {}\n{}", printable(d.entry), side_by_side(d));
        else
            asked_text += fmt::format("    {}  {}\n{}", number, printable(d.entry), side_by_side(d));
    }
    a.data["differences"] = std::move(list);
    if (!taken_text.empty()) a.text += "  taken\n" + taken_text;
    if (!asked_text.empty()) a.text += "  asked: each would let more through than now\n" + asked_text;
    if (!hand_text.empty()) a.text += "  to be settled by hand\n" + hand_text;
    if (asked_text.empty()) return;
    a.text += "  next     ";
    a.text += propose(Act::import_family,
                      {given("file", f.file), wanted("accept", "N"), wanted("accept-loosening-by", "NAME")});
    a.text += "\n";
}

}  // namespace

Answer signed_family(const workshop::SignedFamily& s) {
    Answer a;
    a.level = s.level;
    a.judgement = s.judgement;
    a.data = {{"file", s.file}, {"signed", s.is_signed()}};
    if (!s.is_signed()) {
        a.headline = "Not signed: it carries texts that may be a maker's own words.";
        for (const std::string& t : s.long_texts) a.text += "  " + printable(t) + "\n";
        return a;
    }
    a.headline = fmt::format("Signed by \"{}\" with key {}{}.", printable(s.by), s.fingerprint,
                             s.key_made_now ? " (made just now)" : "");
    a.text = "  Any change above the signature will be seen. It does not prove that what the file says is true.\n";
    a.data["key"] = s.public_key;
    a.data["fingerprint"] = s.fingerprint;
    return a;
}

Answer imported(const ImportedFamily& f) {
    Answer a;
    a.level = f.level;
    a.judgement = f.judgement;
    a.data = {{"id", f.id},
              {"signature", code(f.signer.state)},
              {"by", f.signer.by},
              {"key", f.signer.public_key},
              {"fingerprint", f.fingerprint},
              {"known_as", f.known_as},
              {"written", f.written},
              {"differences", json::array()}};
    if (f.signer.state == family::Signed::changed) {
        a.headline = "Not taken: the file was changed after it was signed.";
        return a;
    }
    const std::string who = f.signer.state == family::Signed::good
                                ? fmt::format("signed by \"{}\", key {}", f.signer.by, f.fingerprint)
                                : "unsigned";
    if (!f.was_known) {
        a.headline = fmt::format("Family {} taken in, {}; no such family was known here.", f.id, who);
        return a;
    }
    add_differences(f, a);
    a.headline = f.differences.empty()
                     ? fmt::format("Family {}, {}: it says nothing else than the one in use.", f.id, who)
                     : fmt::format("Family {}, {}: {} of {} differences taken.", f.id, who, f.taken.size(),
                                   f.differences.size());
    return a;
}

}  // namespace fettle::show
