#include "cmd_draft.h"

#include <fmt/core.h>

#include "commands.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/contact/draft.h"
#include "fettle/family/family.h"

namespace fettle::app {
namespace fs = std::filesystem;
namespace {

// What a folder or archive is called, without the endings of archives.
std::string name_of(const fs::path& path) {
    fs::path p = path.lexically_normal();
    if (!p.has_filename()) p = p.parent_path();
    if (p.filename() == "." || p.filename() == "..") {
        std::error_code ec;
        p = fs::canonical(path, ec);
    }
    std::string name = p.filename().string();
    for (const char* ending : {".gz", ".bz2", ".xz", ".zst", ".tar", ".tgz", ".zip", ".7z"})
        if (name.ends_with(ending) && name.size() > std::string_view(ending).size())
            name.erase(name.size() - std::string_view(ending).size());
    return name;
}

json::array texts_json(const std::vector<std::string>& texts) {
    json::array out;
    for (const std::string& t : texts) out.push_back(json::string(t));
    return out;
}

// The next command, as it can be typed.
std::string next_after(const contact::Draft& draft, const FamilyDraftOptions& options) {
    const std::string& package = options.packages.back();
    if (draft.shelf_refuses) return "get the package again from where it came: its files are not what its index says";
    if (draft.level == "L1")
        return fmt::format("fettle shelf add {} --family {} --from WHERE --right RIGHT", shell_word(package), draft.id);
    const bool bare = package.find('/') == std::string::npos;  // a folder is told from a release by its stroke
    return fmt::format("fettle card lay {} --family {} --out card.img", shell_word((bare ? "./" : "") + package),
                       draft.id);
}

}  // namespace

Result<Answer> family_draft(Context& context, const FamilyDraftOptions& options) {
    std::error_code ec;
    if (!options.to.empty() && fs::exists(options.to, ec))
        return usage_error("draft-there", options.to, "is there already; a draft never takes the place of a file",
                           "name another file, or move that one away");
    if (options.id.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-") != std::string::npos ||
        options.id.size() > 40)
        return usage_error(
            "draft-id", "--id",
            fmt::format("is \"{}\"; at most 40 small letters, digits and - were expected", printable(options.id)),
            "choose another id, such as wren");
    contact::DraftInput in;
    in.plates = options.plates;
    in.views = options.views;
    in.id = options.id;
    for (const std::string& m : options.means) {
        const std::size_t eq = m.find('=');
        if (eq == std::string::npos || eq == 0 || eq + 1 == m.size())
            return usage_error("draft-means", printable(m), "is no PART=MEANING",
                               "say for example --means main.part2=issue, or \"main.part2=don't know\"");
        in.means[m.substr(0, eq)] = m.substr(eq + 1);
    }
    for (const std::string& path : options.packages) {
        auto package = shelf::open_package(path);
        if (!package) return pass(package);
        auto study = contact::study(**package, name_of(path));
        if (!study) return pass(study);
        if (const Status same = (*package)->unchanged(); !same) return tl::unexpected<Error>(same.error());
        in.studies.push_back(std::move(*study));
    }
    const contact::Draft draft = contact::draft_family(in);
    if (!draft.strange_means.empty()) {
        std::vector<std::string> parts;
        for (const auto& asked : draft.asked) parts.push_back(asked.part);
        return usage_error("draft-means", printable(draft.strange_means.front()),
                           parts.empty() ? "is no part of a label; none is asked"
                                         : "is no part of a label; asked are " + join(parts, ", "),
                           "name one of these, or leave it out");
    }
    if (options.add) {
        const auto known = load_families(context);
        if (!known && known.error().code != "no-family-files") return pass(known);
        for (const family::Family& f : known ? *known : std::vector<family::Family>())
            if (f.id == draft.id)
                return usage_error("draft-known", draft.id, "is known here already; a draft never takes its place",
                                   "choose another id with --id, or write it with --to and compare the two");
    }
    Answer out;
    out.verdict_matters = false;
    out.headline = fmt::format("Draft of family {}, level {}: {} left unknown.", draft.id, draft.level,
                               draft.unknown.size() == 1 ? "1 thing" : fmt::format("{} things", draft.unknown.size()));
    for (const std::string& f : draft.found) out.text += "  found    " + f + "\n";
    for (const std::string& u : draft.unknown) out.text += "  unknown  " + u + "\n";
    json::array asked;
    for (const auto& q : draft.asked) {
        out.text += fmt::format("  asked    {} (\"{}\"): what is it? --means {}=WORD, or \"{}=don't know\"\n", q.part,
                                printable(q.example), q.part, q.part);
        asked.push_back(json::object{{"part", q.part}, {"example", q.example}});
    }
    out.data = {{"id", draft.id},
                {"asked", std::move(asked)},
                {"level", draft.level},
                {"found", texts_json(draft.found)},
                {"unknown", texts_json(draft.unknown)},
                {"file", options.to},
                {"toml", draft.toml}};
    out.level = draft.level;
    out.data["added"] = options.add;
    if (options.to.empty() && !options.add) {
        if (!context.json) out.document = draft.toml;
        return out;
    }
    if (!options.to.empty())
        if (const Status written = write_file_durably(options.to, draft.toml); !written) return pass(written);
    if (options.add) {
        const auto target = context.families_folder() / (draft.id + ".toml");
        if (const Status made = make_folder(context.families_folder()); !made) return pass(made);
        if (const Status written = write_file_durably(target, draft.toml); !written) return pass(written);
        out.data["in_use"] = target.string();
        out.headline.pop_back();
        out.headline += "; in use here now.";
        out.text +=
            fmt::format("  in use   {}\n  next     {}\n", printable(target.string()), next_after(draft, options));
        return out;
    }
    out.text += fmt::format("  next     fill in what you know, then: fettle family check {}\n", printable(options.to));
    return out;
}

}  // namespace fettle::app
