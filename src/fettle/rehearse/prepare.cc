// Before the job: a folder of its own, releases to rehearse, and the virtual set.
#include <fmt/core.h>

#include <algorithm>
#include <system_error>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/rehearse/practice.h"
#include "fettle/shelf/shelf.h"
#include "fettle/standin/maker.h"
#include "fettle/workshop/families.h"

namespace fettle::rehearse {
namespace fs = std::filesystem;
namespace {

// The one asked for, which must be new or empty, or the first free ./rehearsal-N. Half done from its first instant on.
Status own_folder(Practice& p) {
    const std::string& asked = p.request.out;
    std::error_code ec;
    fs::path folder = asked.empty() ? fs::path("rehearsal") : fs::path(asked);
    for (int n = 2; asked.empty() && fs::exists(folder, ec); ++n) folder = fmt::format("rehearsal-{}", n);
    const bool there = fs::exists(folder, ec);
    if (there && !(fs::is_directory(folder, ec) && fs::is_empty(folder, ec)))
        return bad_input("folder-not-empty", folder.string(), "exists and is not an empty folder",
                         "name another with --out, or leave --out away");
    p.half.emplace(folder, there ? HalfDone::What::inside : HalfDone::What::all);
    if (Status made = make_folder(folder); !made) return made;
    p.folder = fs::absolute(folder);
    p.made_folder = !there;
    p.shop.home = p.folder / "home";
    return {};
}

// The shop's own releases, when both ends of the way are on its shelf: they are rehearsed as they are, through a link
// to that shelf, which is only read. False: they are not.
Result<bool> take_from_shelf(Practice& p) {
    std::error_code ec;
    if (!fs::exists(p.outer.shelf_folder(), ec)) return false;
    Result<shelf::Shelf> shelf = shelf::Shelf::open(p.outer.shelf_folder());
    if (!shelf) return pass(shelf);
    Result<std::vector<shelf::Shelved>> all = shelf->list(p.family.id);
    if (!all) return pass(all);
    const auto shelved = [&](const std::string& name) {
        return std::any_of(all->begin(), all->end(), [&](const auto& s) { return s.release.release == name; });
    };
    if (!shelved(p.saved.from) || !shelved(p.saved.to)) return false;
    for (shelf::Shelved& s : *all) p.releases.push_back(std::move(s.release));
    if (Status made = make_folder(p.shop.families_folder()); !made) return pass(made);
    fs::create_directory_symlink(fs::absolute(p.outer.shelf_folder()), p.shop.shelf_folder(), ec);
    const fs::path own = p.outer.families_folder() / (p.family.id + ".toml");
    std::error_code copied;
    if (fs::exists(own, copied)) fs::copy_file(own, p.shop.families_folder() / own.filename(), copied);
    if (ec || copied)
        return outside_error("folder-not-made", p.folder.string(), "cannot be set up: " + (ec ? ec : copied).message(),
                             "name another folder with --out");
    return true;
}

// The invented maker's releases, made from the seed.
Status make_examples(Practice& p) {
    const auto specs = standin::example_history(p.family.id);
    if (specs.empty())
        return bad_input("no-example-releases", p.family.id,
                         fmt::format("{} and {} are not both on the shelf, and there are no example releases of this "
                                     "family",
                                     p.saved.from, p.saved.to),
                         "shelve both, or rehearse an example family, e.g. --family dunnock");
    auto made = standin::make_history(p.family, specs, p.saved.seed, p.folder / "packages");
    if (!made) return pass(made);
    p.releases = std::move(*made);
    return {};
}

// Both ends of the way; those that were not said are the example releases' first and last.
Status choose_ends(Practice& p) {
    const auto examples = standin::example_history(p.family.id, 0);
    Saved& s = p.saved;
    if (examples.empty() && (s.from.empty() || s.to.empty()))
        return usage_error("release-not-named", s.from.empty() ? "--from" : "--to",
                           "is not given, and there are no example releases of " + p.family.id,
                           "name two releases of your shelf with --from and --to");
    if (s.from.empty()) s.from = examples.front().release;
    if (s.to.empty()) s.to = examples.back().release;
    return {};
}

}  // namespace

Status set_up_bench(Practice& p) {
    const auto named = [&](const std::string& name) {
        return std::find_if(p.releases.begin(), p.releases.end(), [&](const auto& r) { return r.release == name; });
    };
    for (const std::string& wanted : {p.saved.from, p.saved.to}) {
        if (named(wanted) != p.releases.end()) continue;
        std::vector<std::string> names;
        for (const family::Release& r : p.releases) names.push_back(r.release);
        return bad_input("release-unknown", printable(wanted),
                         "no release of that name; there are " + join(names, ", "),
                         "choose --from and --to among them");
    }
    auto bench = Bench::make(p.family, *named(p.saved.from), p.saved.seed);
    if (!bench) return pass(bench);
    p.bench = std::move(*bench);
    return {};
}

Status prepare(Practice& p) {
    Result<family::Family> family = workshop::load_family_by_id(p.outer, p.saved.family);
    if (!family) return pass(family);
    p.family = std::move(*family);
    if (Status s = choose_ends(p); !s) return s;
    if (Status s = own_folder(p); !s) return s;
    const Result<bool> on_shelf = take_from_shelf(p);
    if (!on_shelf) return pass(on_shelf);
    p.saved.own_shelf = *on_shelf;
    if (!*on_shelf)
        if (Status s = make_examples(p); !s) return s;
    if (Status s = set_up_bench(p); !s) return s;
    p.tell(Begins{p.family, p.saved.from, p.saved.to, p.saved.speed, p.saved.seed, p.saved.own_shelf});
    return {};
}

}  // namespace fettle::rehearse
