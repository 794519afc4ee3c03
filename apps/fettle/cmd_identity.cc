#include "cmd_identity.h"

#include <fmt/core.h>

#include <algorithm>
#include <charconv>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/identity/vin.h"
#include "job_store.h"

namespace fettle::app {
namespace {

using identity::Identity;
using identity::LabelAnswer;
using identity::LabelText;

std::optional<std::size_t> number(std::string_view s) {
    std::size_t out = 0;
    const auto [end, ec] = std::from_chars(s.data(), s.data() + s.size(), out);
    if (ec != std::errc() || end != s.data() + s.size() || out == 0) return std::nullopt;
    return out;
}

// "3", "plate2.3", "view.1" → the label and its character.
Status mark_sure(identity::Given& given, const std::string& sure) {
    const auto refuse = [&](const char* problem) {
        return usage_error(
            "sure-form", "--sure " + printable(sure), problem,
            "write the number of the character, from 1, after its label: --sure plate2.3 or --sure view.1");
    };
    const auto dot = sure.find('.');
    std::string label = dot == std::string::npos ? "plate" : sure.substr(0, dot);
    const auto character = number(dot == std::string::npos ? sure : sure.substr(dot + 1));
    std::vector<LabelText>* list = nullptr;
    for (const auto& [name, texts] : {std::pair{"plate", &given.plates}, std::pair{"view", &given.views}}) {
        if (!label.starts_with(name)) continue;
        list = texts;
        label.erase(0, std::string_view(name).size());
    }
    const auto which = label.empty() ? std::optional<std::size_t>(1) : number(label);
    if (!list || !which || !character) return refuse("names no character of a plate or view");
    if (*which > list->size()) return refuse("names a plate or view that was not given");
    (*list)[*which - 1].sure.push_back(*character - 1);
    return {};
}

Result<identity::Given> given_by(const IdentifyOptions& options) {
    if (options.housings && *options.housings < 1)
        return usage_error("housings-form", "--housings", "is no number of housings; 1 or more was expected",
                           "count the labelled housings on the bench");
    identity::Given given;
    const auto source = options.photo ? identity::Source::photo : identity::Source::typed;
    for (const std::string& p : options.plates) given.plates.push_back({p, source, {}});
    for (const std::string& v : options.views) given.views.push_back({v, source, {}});
    given.intake.housings = options.housings;
    for (const std::string& s : options.sure)
        if (const Status marked = mark_sure(given, s); !marked) return pass(marked);
    return given;
}

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
    if (!id.market.empty()) out += fmt::format(", market {}{}", id.market, id.market_known ? "" : " (not known)");
    return out + ".";
}

std::string text_of_identity(const Identity& id) {
    std::string out;
    for (const auto& b : id.boxes) {
        out += fmt::format("  {:<10} {}\n", b.role, b.plate.empty() ? "(asked below)" : b.plate);
        for (const auto& [field, value] : b.fields) {
            const auto words = b.words.find(field);
            const bool likely = std::find(b.likely.begin(), b.likely.end(), field) != b.likely.end();
            out += fmt::format("    {:<10} {}{}{}\n", field, value, words == b.words.end() ? "" : "  " + words->second,
                               likely ? "  (only likely)" : "");
        }
    }
    if (!id.release.empty()) out += fmt::format("  {:<10} {}\n", "release", id.release);
    if (!id.market.empty()) out += fmt::format("  {:<10} {}\n", "market", id.market);
    if (id.release.empty() && !id.family.empty()) out += "  release    not read: give what the box shows with --view\n";
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
        json::array likely;
        for (const std::string& f : b.likely) likely.push_back(json::string(f));
        boxes.push_back(json::object{{"role", b.role},
                                     {"plate", b.plate},
                                     {"typed", b.typed},
                                     {"fields", texts_json(b.fields)},
                                     {"words", texts_json(b.words)},
                                     {"only_likely", std::move(likely)},
                                     {"corrections", corrections_json(b.corrections)}});
    }
    out["plates"] = std::move(plates);
    out["boxes"] = std::move(boxes);
    out["set"] = id.set;
    json::array missing;
    for (const std::string& role : id.missing) missing.push_back(json::string(role));
    out["missing"] = std::move(missing);
    out["release"] = id.release;
    out["market"] = id.market;
    out["market_known"] = id.market_known;
    json::array labels;
    for (const LabelAnswer& a : id.labels) labels.push_back(label_json(a));
    out["labels"] = std::move(labels);
    if (id.question) {
        json::array answers;
        for (const std::string& a : id.question->answers) answers.push_back(json::string(a));
        out["question"] = json::object{{"where", id.question->where},
                                       {"text", id.question->text},
                                       {"answers", std::move(answers)},
                                       {"bits_left", id.question->bits_left}};
    }
    return out;
}

Result<IdentifiedUnit> identify_unit(const Context& context, const IdentifyOptions& options) {
    const auto given = given_by(options);
    if (!given) return pass(given);
    std::vector<family::Family> families;
    if (options.family.empty()) {
        auto all = load_families(context);
        if (!all) return pass(all);
        families = std::move(*all);
    } else {
        auto one = load_family_by_id(context, options.family);
        if (!one) return pass(one);
        families.push_back(std::move(*one));
    }
    IdentifiedUnit out;
    out.identity = identity::identify(families, *given);
    for (family::Family& f : families)
        if (f.id == out.identity.family) out.family = std::move(f);
    return out;
}

Result<Answer> identify(Context& context, const IdentifyOptions& given) {
    IdentifyOptions options = given;
    if (options.plates.empty() && !context.job.empty()) {  // those that the job was opened with
        const auto job = load_job(context, context.job);
        if (!job) return pass(job);
        for (const auto& [role, plate] : job->plates) options.plates.push_back(plate);
        if (!options.housings) options.housings = job->housings;
    }
    const auto unit = identify_unit(context, options);
    if (!unit) return pass(unit);
    const family::Family* family = unit->family ? &*unit->family : nullptr;
    Answer out;
    out.headline = headline_of(unit->identity, family);
    out.text = text_of_identity(unit->identity);
    out.judgement = unit->identity.judgement;
    if (family) out.level = family->level;
    out.data = identity_as_json(unit->identity, family);
    json::object entry;
    for (const char* key : {"family", "family_digest", "plates", "release", "market"}) entry[key] = out.data.at(key);
    if (unit->identity.market.empty()) entry.erase("market");
    if (options.views.size() == 1) entry["view"] = options.views.front();
    entry["verdict"] = code(out.judgement.verdict());
    entry["reasons"] = reasons_as_json(out.judgement.reasons);
    out.entries.push_back({"identified", std::move(entry)});
    return out;
}

Result<Answer> vin(Context&, const VinOptions& options) {
    const identity::VinAnswer v =
        identity::check_vin(options.vin, options.rule_applies ? std::optional<bool>(true) : std::nullopt);
    Answer out;
    out.judgement = v.judgement;
    const bool reckoned = v.expected != 0;
    out.headline = !reckoned               ? fmt::format("{} is no VIN.", printable(v.typed))
                   : !v.suggestion.empty() ? fmt::format("{}: {} is suggested.", printable(v.typed), v.suggestion)
                                           : fmt::format("{}.", v.vin);
    if (reckoned)
        out.text = fmt::format("  weighted sum {}, remainder {}, check digit {} (position 9 is {})\n", v.weighted_sum,
                               v.remainder, v.expected, v.position9);
    out.data = json::object{{"typed", v.typed}, {"vin", v.vin}, {"well_formed", v.well_formed}};
    if (!v.suggestion.empty()) out.data["suggestion"] = v.suggestion;
    if (reckoned) {
        out.data["weighted_sum"] = v.weighted_sum;
        out.data["remainder"] = v.remainder;
        out.data["expected"] = std::string(1, v.expected);
        out.data["position9"] = std::string(1, v.position9);
        out.data["check_matches"] = v.check_matches;
    }
    return out;
}

}  // namespace fettle::app
