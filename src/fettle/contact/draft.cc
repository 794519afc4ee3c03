#include "fettle/contact/draft.h"

#include <fmt/core.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/contact/draft_package.h"

namespace fettle::contact {
namespace {

bool is_id(std::string_view s) {
    return !s.empty() && s.size() <= 40 && std::all_of(s.begin(), s.end(), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
    });
}

std::string literal(const std::string& pattern) {
    return pattern.find('\'') == std::string::npos ? "'" + pattern + "'" : toml_text(pattern);
}

std::string list_of(const std::vector<std::string>& texts) {
    std::string out = "[";
    for (const std::string& t : texts) out += (out.size() > 1 ? ", " : "") + toml_text(t);
    return out + "]";
}

std::string role_of(std::size_t i, std::size_t of) {
    return of == 1 ? "main" : fmt::format("box-{}", i + 1);
}

bool is_field(std::string_view s) {
    return !s.empty() && s.size() <= 30 && s.front() >= 'a' && s.front() <= 'z' &&
           s.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789_") == std::string_view::npos;
}

// The parts of a label get the names that the technician gave; one without an answer is asked. `seen` takes the keys
// that were of use. Names that are no field names, or are taken, stay as they were and are said.
std::string named_parts(LabelDraft& l, const std::string& label, const DraftInput& in, std::set<std::string>& seen,
                        Draft& out) {
    std::string t;
    for (const auto& [part, example] : l.parts) {
        const std::string key = label + "." + part;
        seen.insert(key);
        const auto said = in.means.find(key);
        if (said == in.means.end()) {
            out.asked.push_back({key, example});
            continue;
        }
        const bool taken = l.pattern.find("(?P<" + said->second + ">") != std::string::npos;
        if (!is_field(said->second) || taken) {
            t += remark(fmt::format("{}: asked; the answer was: {}", part, printable(said->second)));
            continue;
        }
        const std::string old = "(?P<" + part + ">";
        l.pattern.replace(l.pattern.find(old), old.size(), "(?P<" + said->second + ">");
        std::replace(l.over.begin(), l.over.end(), part, said->second);
        t += remark(
            fmt::format("{}: \"{}\" in the first example; its meaning as the technician said", said->second, example));
    }
    return t;
}

std::string boxes(const DraftInput& in, std::vector<LabelDraft> plates, std::set<std::string>& seen, Draft& out) {
    std::string t;
    for (const std::string& p : in.plates)
        if (std::none_of(plates.begin(), plates.end(), [&](const LabelDraft& l) {
                return std::find(l.examples.begin(), l.examples.end(), p) != l.examples.end() ||
                       std::find(l.contradicts.begin(), l.contradicts.end(), p) != l.contradicts.end();
            }))
            out.unknown.push_back("no pattern can be written for the plate " + printable(p));
    if (plates.empty()) {
        out.unknown.emplace_back("the plate: none was given");
        t += remark("unknown: no plate was given. This stands in for it and accepts nothing but itself.");
        return t +
               "[[box]]\nrole = \"main\"\nwords = \"box\"\n[box.plate]\npattern = 'NOT-SEEN'\nexamples = "
               "[\"NOT-SEEN\"]\n\n";
    }
    for (std::size_t i = 0; i < plates.size(); ++i) {
        LabelDraft& l = plates[i];
        t += fmt::format("[[box]]\nrole = \"{}\"  # unknown: a stand-in name\nwords = \"box\"  # unknown\n",
                         role_of(i, plates.size()));
        const std::string meanings = named_parts(l, role_of(i, plates.size()), in, seen, out);
        t += fmt::format("[box.plate]\npattern = {}  # the shape of {}; what the parts mean is unknown\n",
                         literal(l.pattern),
                         l.examples.size() == 1 ? "one plate" : fmt::format("{} plates", l.examples.size()));
        if (l.check)
            t += fmt::format(
                "check = {{ method = \"iso7064-mod11-2\", over = {} }}  # {}holds for all {}; by chance for 1 in {}\n",
                list_of(l.over),
                l.check_tried > 1 ? fmt::format("the only one of {} ways that ", l.check_tried) : std::string(),
                l.examples.size(),
                l.check_tried > 1    ? "1,000 or more"
                : l.check_borne == 2 ? "121"
                                     : "1,331 or more");
        else if (l.examples.size() == 1)
            t += remark(
                "unknown: whether the last character is a check character. One plate cannot tell, a second one may.");
        t += meanings;
        t += "examples = " + list_of(l.examples) + "\n";
        for (const std::string& c : l.contradicts) {
            const std::string words = fmt::format(
                "{} contradicts the {} others of its shape: its check character would be another. Misread, or of "
                "another box?",
                printable(c), l.examples.size());
            t += remark(words);
            out.found.push_back(words);
        }
        for (std::size_t k = 0; k < plates.size() && l.examples.size() == 1; ++k)
            if (plates[k].examples.size() >= 3) {
                const std::string words =
                    fmt::format("{} has another shape than the {} plates of {}: another box, or misread",
                                printable(l.examples.front()), plates[k].examples.size(), role_of(k, plates.size()));
                t += remark(words);
                out.found.push_back(words);
                break;
            }
        if (l.examples.size() > 1)
            t += remark(
                "unknown: whether these are plates of one box or of several that look alike. If several: one [[box]] "
                "each, with"
                " the characters that set them apart in the pattern.");
        t += "\n";
    }
    out.unknown.emplace_back("what the parts of a plate mean, and what the boxes are");
    return t;
}

std::string view(const DraftInput& in, std::set<std::string>& seen, Draft& out) {
    if (in.views.empty()) {
        out.unknown.emplace_back("the version view: none was given");
        return remark("[view]: unknown, no version view was given.") + "\n";
    }
    auto l = draft_view(in.views);
    if (!l) {
        out.unknown.emplace_back("the version view: no pattern fits what was given");
        std::string t = remark("[view]: unknown. No pattern fits every view that was given, word for word:");
        for (const std::string& v : in.views) t += remark("  " + toml_text(v));
        return t + "\n";
    }
    std::string meanings = named_parts(*l, "view", in, seen, out);
    // The first dotted number is the release until somebody says otherwise; only a person makes it certain.
    seen.insert("view.release");
    const auto said = in.means.find("view.release");
    const bool certain = said != in.means.end() && said->second == "release";
    if (said == in.means.end())
        out.asked.push_back({"view.release", l->examples.front()});
    else if (!certain)
        meanings += remark("release: asked; the answer was: " + printable(said->second));
    return fmt::format("[view]\npattern = {}  # {}\n{}{}examples = {}\n\n", literal(l->pattern),
                       certain ? "the first dotted number is the release, as the technician said"
                               : "likely: the first dotted number is the release",
                       meanings, certain ? "" : "likely = [\"release\"]\n", list_of(l->examples));
}

std::string card(const DraftInput& in) {
    std::string t = remark("[card]: unknown until a card was accepted. What any reader of it must cope with:");
    for (const Study& s : in.studies)
        t += remark(fmt::format(
            "  {}: {} files, {} in all; largest {} ({}); longest path {} characters, {} folders deep", s.name, s.files,
            human_bytes(s.bytes), human_bytes(s.largest), s.largest_path, s.longest_path.size(), s.deepest));
    return t;
}

}  // namespace

std::string toml_text(std::string_view text) {
    std::string out = "\"";
    for (std::size_t i = 0; i < text.size();) {
        const std::size_t n = utf8_length(text.substr(i));
        const auto c = static_cast<unsigned char>(text[i]);
        if (n == 0)
            out += fmt::format("\\\\x{:02x}", static_cast<unsigned>(c));  // no UTF-8: TOML cannot hold it
        else if (c == '"' || c == '\\')
            out += {'\\', static_cast<char>(c)};
        else if (c < 0x20 || c == 0x7F)
            out += fmt::format("\\u{:04X}", static_cast<unsigned>(c));
        else
            out += text.substr(i, n);
        i += n ? n : 1;
    }
    return out + "\"";
}

Draft draft_family(const DraftInput& in) {
    Draft out;
    const auto told = family_told(in.studies);
    out.id = is_id(in.id) ? in.id : told ? told->text : "new-family";
    const auto plates = draft_plates(in.plates);
    const auto head = [&](const char* level, const std::string& why) {
        std::string t = remark(
            "A first draft. Each value has its evidence beside it; what is marked unknown nobody could tell from "
            "this.");
        t += remark(
                 "docs/family-file.md explains each key. `family check` lists what is open and which answers wait for "
                 "it.") +
             "\n";
        t += fmt::format("[family]\nid = {}  # {}\n", toml_text(out.id),
                         is_id(in.id) ? "as you gave it"
                         : told       ? told->evidence
                                      : "unknown: a stand-in name");
        t += "marque = \"unknown\"\nwords = \"unknown\"\n";
        t += fmt::format("level = \"{}\"  # {}\n", level, why);
        t += remark("version_order: unknown. Until it is said, no update can be told from a way back.") + "\n";
        return t;
    };
    std::set<std::string> seen;
    std::string body = boxes(in, plates, seen, out);
    body += view(in, seen, out);  // asked after the boxes
    for (const auto& [part, meaning] : in.means)
        if (!seen.contains(part)) out.strange_means.push_back(part);
    const std::string role = role_of(0, std::max<std::size_t>(1, plates.size()));
    const PackageDraft package = draft_package(in, head("L0", "tried") + body, out.id, role);
    out.shelf_refuses = package.refused;
    out.level = package.read ? "L1" : "L0";
    out.found.insert(out.found.begin(), package.found.begin(), package.found.end());
    out.unknown.insert(out.unknown.end(), package.unknown.begin(), package.unknown.end());
    for (const char* u :
         {"marque, and what it is called", "how two releases are compared", "the card that the box accepts",
          "the step script, the supply and the boot order: every write counts as having no way back"})
        out.unknown.emplace_back(u);
    out.toml = head(out.level.c_str(), package.read ? "the index is read; nothing else is known" : "plate only") +
               body + package.toml + "\n" + card(in) +
               remark(
                   "When this was drafted, [[act]], [supply] and [[boot]] were unknown. The power-cut map can't say; "
                   "every write counts as having no "
                   "way back.");
    return out;
}

}  // namespace fettle::contact
