#include "fettle/contact/draft.h"

#include <fmt/core.h>

#include <algorithm>

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

std::string boxes(const DraftInput& in, const std::vector<LabelDraft>& plates, Draft& out) {
    std::string t;
    for (const std::string& p : in.plates)
        if (std::none_of(plates.begin(), plates.end(), [&](const LabelDraft& l) {
                return std::find(l.examples.begin(), l.examples.end(), p) != l.examples.end();
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
        const LabelDraft& l = plates[i];
        t += fmt::format("[[box]]\nrole = \"{}\"  # unknown: a stand-in name\nwords = \"box\"  # unknown\n",
                         role_of(i, plates.size()));
        t += fmt::format("[box.plate]\npattern = {}  # the shape of {}; what the parts mean is unknown\n",
                         literal(l.pattern),
                         l.examples.size() == 1 ? "one plate" : fmt::format("{} plates", l.examples.size()));
        if (l.check)
            t += fmt::format(
                "check = {{ method = \"iso7064-mod11-2\", over = {} }}  # holds for all {}; by chance for 1 in {}\n",
                list_of(l.over), l.examples.size(), l.examples.size() == 2 ? "121" : "1,331 or more");
        else if (l.examples.size() == 1)
            t += remark(
                "unknown: whether the last character is a check character. One plate cannot tell, a second one may.");
        t += "examples = " + list_of(l.examples) + "\n";
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

std::string view(const DraftInput& in, Draft& out) {
    if (in.views.empty()) {
        out.unknown.emplace_back("the version view: none was given");
        return remark("[view]: unknown, no version view was given.") + "\n";
    }
    const auto l = draft_view(in.views);
    if (!l) {
        out.unknown.emplace_back("the version view: no pattern fits what was given");
        std::string t = remark("[view]: unknown. No pattern fits every view that was given, word for word:");
        for (const std::string& v : in.views) t += remark("  " + toml_text(v));
        return t + "\n";
    }
    return fmt::format(
        "[view]\npattern = {}  # likely: the first dotted number is the release\nlikely = [\"release\"]\nexamples = "
        "{}\n\n",
        literal(l->pattern), list_of(l->examples));
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
    std::string body = boxes(in, plates, out) + view(in, out);
    const std::string role = role_of(0, std::max<std::size_t>(1, plates.size()));
    const PackageDraft package = draft_package(in, head("L0", "tried") + body, out.id, role);
    out.level = package.read ? "L1" : "L0";
    out.found = package.found;
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
