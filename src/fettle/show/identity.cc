#include "fettle/show/identity.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

using identity::Identity;
using identity::LabelAnswer;

json::array corrections_json(const std::vector<identity::Correction>& corrections) {
    json::array out;
    for (const auto& c : corrections)
        out.push_back(json::object{{"character", c.position + 1},
                                   {"typed", c.typed},
                                   {"read", c.read},
                                   {"field", c.field},
                                   {"forced_by", c.forced_by}});
    return out;
}

json::object label_json(const LabelAnswer& a) {
    json::object out{{"typed", a.typed}, {"taken", a.taken}};
    json::array readings;
    for (const auto& r : a.readings) {
        if (readings.size() == 16) break;
        readings.push_back(json::object{
            {"text", r.text}, {"share", r.share}, {"cost", r.cost}, {"corrections", corrections_json(r.corrections)}});
    }
    out["readings"] = std::move(readings);
    out["readings_found"] = a.readings.size();
    out["more_readings"] = a.more_readings;
    if (a.readings.empty()) {
        out["accepted_prefix"] = a.accepted_prefix;
        out["expected_next"] = a.expected_next;
    }
    return out;
}

json::object texts_json(const std::map<std::string, std::string>& texts) {
    json::object out;
    for (const auto& [key, text] : texts) out[key] = text;
    return out;
}

std::string headline_of(const Identity& id, const family::Family* family) {
    if (!family) return "The family is not known.";
    if (id.boxes.empty()) return fmt::format("Family {}; no box is known.", id.family);
    std::vector<std::string> boxes;
    for (const auto& b : id.boxes)
        boxes.push_back(b.plate.empty() ? b.role + " (plate not settled)" : b.role + " " + b.plate);
    std::string out = fmt::format("{}: {}", family->words, join(boxes, ", "));
    if (!id.release.empty()) out += fmt::format("; release {}", id.release);
    if (!id.releases.empty()) out += "; not of one release";
    if (!id.market.empty()) out += fmt::format(", market {}{}", id.market, id.market_known ? "" : " (not known)");
    return out + ".";
}

std::string text_of_identity(const Identity& id) {
    std::string out;
    for (const auto& b : id.boxes) {
        out += fmt::format("  {:<10} {}\n", b.role, b.plate.empty() ? "(asked below)" : b.plate);
        if (const auto own = id.releases.find(b.role); own != id.releases.end())
            out += fmt::format("    {:<10} {}\n", "release", own->second.empty() ? "not read" : own->second);
        for (const auto& [field, value] : b.fields) {
            const auto words = b.words.find(field);
            const bool likely = std::find(b.likely.begin(), b.likely.end(), field) != b.likely.end();
            out += fmt::format("    {:<10} {}{}{}\n", field, value, words == b.words.end() ? "" : "  " + words->second,
                               likely ? "  (only likely)" : "");
        }
    }
    if (!id.release.empty()) out += fmt::format("  {:<10} {}\n", "release", id.release);
    if (!id.market.empty()) out += fmt::format("  {:<10} {}\n", "market", id.market);
    if (id.release.empty() && id.releases.empty() && !id.family.empty())
        out += "  release    not read: give what the box shows with --view\n";
    if (id.question) {
        out += "asked: " + id.question->text + "\n";
        for (const std::string& a : id.question->answers) out += "  - " + a + "\n";
        if (id.question->where.find(", character ") != std::string::npos)
            out += "  Type the label as it is; if it stands as typed, vouch for that character: --sure LABEL.N\n";
    }
    return out;
}

}  // namespace

json::object identity_as_json(const Identity& id, const family::Family* family) {
    json::object out;
    out["family"] = id.family;
    out["family_digest"] = family ? family->digest : "";
    json::object plates;
    json::array boxes;
    for (const auto& b : id.boxes) {
        plates[b.role] = b.plate;
        boxes.push_back(json::object{{"role", b.role},
                                     {"plate", b.plate},
                                     {"typed", b.typed},
                                     {"fields", texts_json(b.fields)},
                                     {"words", texts_json(b.words)},
                                     {"only_likely", texts_as_json(b.likely)},
                                     {"corrections", corrections_json(b.corrections)}});
    }
    out["plates"] = std::move(plates);
    out["boxes"] = std::move(boxes);
    out["set"] = id.set;
    out["missing"] = texts_as_json(id.missing);
    out["release"] = id.release;
    out["releases"] = texts_json(id.releases);
    out["market"] = id.market;
    out["market_known"] = id.market_known;
    json::array labels;
    for (const LabelAnswer& a : id.labels) labels.push_back(label_json(a));
    out["labels"] = std::move(labels);
    if (id.question) {
        out["question"] = json::object{{"where", id.question->where},
                                       {"text", id.question->text},
                                       {"answers", texts_as_json(id.question->answers)},
                                       {"bits_left", id.question->bits_left}};
    }
    return out;
}

Answer identified(const workshop::Identified& found) {
    const family::Family* family = found.known_family();
    Answer out;
    out.headline = headline_of(found.identity, family);
    out.text = text_of_identity(found.identity);
    out.judgement = found.identity.judgement;
    if (family) out.level = family->level;
    out.data = identity_as_json(found.identity, family);
    return out;
}

Answer not_identified(const workshop::Identified& found, const char* headline) {
    Answer a;
    a.headline = headline;
    a.judgement = found.identity.judgement;
    a.data = {{"identity", identity_as_json(found.identity, found.known_family())}};
    if (found.identity.question) a.text = "  ask first: " + found.identity.question->text + "\n";
    return a;
}

Answer vin(const identity::VinAnswer& v) {
    Answer out;
    out.judgement = v.judgement;
    const bool computed = v.expected != 0;
    out.headline = !computed               ? fmt::format("{} is no VIN.", printable(v.typed))
                   : !v.suggestion.empty() ? fmt::format("{}: {} is suggested.", printable(v.typed), v.suggestion)
                                           : fmt::format("{}.", v.vin);
    if (computed)
        out.text = fmt::format("  weighted sum {}, remainder {}, check digit {} (position 9 is {})\n", v.weighted_sum,
                               v.remainder, v.expected, v.position9);
    out.data = json::object{{"typed", v.typed}, {"vin", v.vin}, {"well_formed", v.well_formed}};
    if (!v.suggestion.empty()) out.data["suggestion"] = v.suggestion;
    if (computed) {
        out.data["weighted_sum"] = v.weighted_sum;
        out.data["remainder"] = v.remainder;
        out.data["expected"] = std::string(1, v.expected);
        out.data["position9"] = std::string(1, v.position9);
        out.data["check_matches"] = v.check_matches;
    }
    return out;
}

}  // namespace fettle::show
