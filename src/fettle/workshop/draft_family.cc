#include "fettle/workshop/draft_family.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/shelf/package.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/family_acts.h"

namespace fettle::workshop {
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

Status check_names(const DraftRequest& request) {
    std::error_code ec;
    if (!request.to.empty() && fs::exists(request.to, ec))
        return usage_error("draft-there", request.to, "is there already; a draft never takes the place of a file",
                           "name another file, or move that one away");
    if (request.id.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-") != std::string::npos ||
        request.id.size() > 40)
        return usage_error(
            "draft-id", with(flag("id")),
            fmt::format("is \"{}\"; at most 40 small letters, digits and - were expected", printable(request.id)),
            "choose another id, such as wren");
    return {};
}

Result<contact::Draft> drafted(const DraftRequest& request) {
    contact::DraftInput in;
    in.plates = request.plates;
    in.views = request.views;
    in.id = request.id;
    in.means = request.means;
    for (const std::string& path : request.packages) {
        const auto package = shelf::open_package(path);
        if (!package) return pass(package);
        auto study = contact::study(**package, name_of(path));
        if (!study) return pass(study);
        if (const Status same = (*package)->unchanged(); !same) return pass(same);
        in.studies.push_back(std::move(*study));
    }
    contact::Draft draft = contact::draft_family(in);
    if (draft.strange_means.empty()) return draft;
    std::vector<std::string> parts;
    for (const auto& asked : draft.asked) parts.push_back(asked.part);
    return usage_error("draft-means", printable(draft.strange_means.front()),
                       parts.empty() ? "is no part of a label; none is asked"
                                     : "is no part of a label; asked are " + join(parts, ", "),
                       "name one of these, or leave it out");
}

Status refuse_a_known_one(const Workshop& shop, const std::string& id) {
    const auto known = load_families(shop);
    if (!known && known.error().code != "no-family-files") return pass(known);
    if (known && std::any_of(known->begin(), known->end(), [&](const family::Family& f) { return f.id == id; }))
        return usage_error("draft-known", id, "is known here already; a draft never takes its place",
                           Next{"choose another id with ", with(flag("id")), ", or write it with ", with(flag("to")),
                                " and compare the two"});
    return {};
}

// A family in use: its package goes to the shelf when its index is understood, else onto a card as it is.
Next next_with(const contact::Draft& draft, const std::string& package) {
    if (draft.shelf_refuses) return "get the package again from where it came: its files are not what its index says";
    if (draft.level == "L1")
        return {propose(Act::add_to_shelf, {given("package", package), given("family", draft.id),
                                            wanted("from", "WHERE"), wanted("right", "RIGHT")})};
    const bool bare = package.find('/') == std::string::npos;  // a folder is told from a release by its stroke
    return {propose(Act::lay_card, {given("release", (bare ? "./" : "") + package), given("family", draft.id),
                                    given("out", "card.img")})};
}

}  // namespace

Result<Drafted> draft_family(const Workshop& shop, const DraftRequest& request) {
    if (const Status good = check_names(request); !good) return pass(good);
    auto draft = drafted(request);
    if (!draft) return pass(draft);
    if (request.add)
        if (const Status fresh = refuse_a_known_one(shop, draft->id); !fresh) return pass(fresh);
    Drafted out;
    out.to = request.to;
    if (!request.to.empty()) {
        if (const Status written = write_file_durably(request.to, draft->toml); !written) return pass(written);
        out.next = {"fill in what you know, then: ", propose(Act::check_family, {given("file", request.to)})};
    }
    if (request.add) {
        auto written = put_in_use(shop, draft->id, draft->toml);
        if (!written) return pass(written);
        out.in_use = std::move(*written);
        out.next = next_with(*draft, request.packages.back());
    }
    out.draft = std::move(*draft);
    return out;
}

}  // namespace fettle::workshop
