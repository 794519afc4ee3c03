#include "fettle/workshop/shelf_acts.h"

#include <algorithm>
#include <map>
#include <set>
#include <system_error>

#include "fettle/base/text.h"
#include "fettle/shelf/cyclonedx.h"
#include "fettle/shelf/package.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/identify.h"

namespace fettle::workshop {
namespace {

using shelf::Outline;
using shelf::Shelf;

bool shelf_exists(const Workshop& shop) {
    std::error_code ec;
    return std::filesystem::exists(shop.shelf_folder() / "catalogue.sqlite", ec);
}

tl::unexpected<Error> family_not_told(const std::string& package, const std::vector<family::Family>& families) {
    std::vector<std::string> ids;
    std::set<std::string> indexes;
    for (const family::Family& f : families) {
        ids.push_back(f.id);
        indexes.insert(f.package->index);
    }
    return bad_input(
        "family-not-told", package,
        "which family it is for can't be told: no index stands where one of theirs would, or no signature and no "
        "name in it settles which (looked for: " +
            join({indexes.begin(), indexes.end()}, ", ") + ")",
        Next{"say which with ", with(flag("family")), ": " + join(ids, ", ")});
}

// Also opens the package, when it has to be looked at for that.
Result<family::Family> family_for(const Workshop& shop, const ShelveRequest& request,
                                  std::shared_ptr<shelf::Package>& package) {
    if (!request.family.empty()) return load_family_by_id(shop, request.family);
    auto all = load_families(shop);
    if (!all) return pass(all);
    std::erase_if(*all, [](const family::Family& f) { return !f.package; });
    std::error_code ec;
    if (!request.index_only || !std::filesystem::exists(request.package, ec)) {
        auto opened = shelf::open_for(*all, request.package);
        if (!opened) return pass(opened);  // what is wrong with it comes before whose it is
        package = std::move(*opened);
    }
    const auto named = package && !request.index_only
                           ? shelf::named_families(*all, *package, shop.clock->now())
                           : shelf::families_of_index(*all, request.package, shop.clock->now());
    for (family::Family& f : *all)
        if (named.size() == 1 ? f.id == named.front() : all->size() == 1) return std::move(f);
    return family_not_told(request.package, *all);
}

Result<Outline> outline_of(const Shelf& shelf, const shelf::Shelved& s) {
    auto all = shelf.outlines(s.family);
    if (!all) return pass(all);
    for (Outline& o : *all)
        if (o.release.release == s.release.release) return std::move(o);
    return outside_error("shelf-damaged", s.release.release, "went from the catalogue just now", "try again");
}

// The newest by the family's own order; empty when some version has no place in it.
std::string newest(const family::Family* family, const std::vector<Outline>& releases) {
    std::string best;
    for (const Outline& s : releases) {
        if (best.empty()) {
            best = s.release.release;
            continue;
        }
        const auto order = family ? family::compare_versions(family->order, s.release.release, best) : std::nullopt;
        if (!order) return "";
        if (*order > 0) best = s.release.release;
    }
    return best;
}

// Keeps what has something for each of the boxes; the family is the one the plates are of.
Status keep_fitting(const Workshop& shop, const ShelfListRequest& request, std::vector<Outline>& all,
                    Judgement& unsettled) {
    IdentifyRequest who;
    who.plates = request.fits;
    who.family = request.family;
    auto unit = identified(shop, who);
    if (!unit) return pass(unit);
    if (!unit->family) {
        unsettled = unit->identity.judgement;
        all.clear();
        return {};
    }
    std::erase_if(all, [&](const Outline& s) {
        if (s.family != unit->family->id) return true;
        return std::any_of(unit->identity.boxes.begin(), unit->identity.boxes.end(), [&](const auto& box) {
            const auto issue = box.fields.find("issue");
            return !s.for_box(box.role, issue == box.fields.end() ? std::string() : issue->second);
        });
    });
    return {};
}

// What intake said in passing; the answer to "may it be laid?" as it is now.
Judgement judged(const shelf::Shelved& s) {
    const Judgement laid = s.may_be_laid();
    Judgement out;
    for (const Reason& r : s.vetted.reasons)
        if (r.code != "right-unknown" &&
            std::none_of(laid.reasons.begin(), laid.reasons.end(), [&](const Reason& l) { return l.code == r.code; }))
            out.add(r);
    out.add(laid);
    return out;
}

}  // namespace

Result<Shelving> shelve(const Workshop& shop, const ShelveRequest& request) {
    const auto right = shelf::right_from(request.right);
    if (!right) return pass(right);
    shelf::AddRequest add;
    const auto family = family_for(shop, request, add.opened);
    if (!family) return pass(family);
    auto opened = Shelf::open(shop.shelf_folder());
    if (!opened) return pass(opened);
    add.package = request.package;
    add.index_only = request.index_only;
    add.slip.from = request.from;
    add.slip.right = *right;
    add.slip.also_seen_sha256 = request.also_seen;

    Shelving out;
    out.package = request.package;
    out.family = family->id;
    out.level = family->level;
    auto added = opened->add(*family, add, *shop.clock, shop.progress, &out.vetting);
    if (!added) {
        if (added.error().code != "package-refused") return pass(added);
        out.refused = std::move(added.error());
        return out;
    }
    auto outline = outline_of(*opened, added->shelved);
    if (!outline) return pass(outline);
    out.release = std::move(*outline);
    out.vetting = std::move(added->vetting);
    out.was_there = added->was_there;
    return out;
}

Result<ShelfList> list_shelf(const Workshop& shop, const ShelfListRequest& request) {
    ShelfList out;
    out.family = request.family;
    if (!shelf_exists(shop)) return out;
    const auto opened = Shelf::open(shop.shelf_folder());
    if (!opened) return pass(opened);
    if (request.refused) {
        auto refusals = opened->refusals();
        if (!refusals) return pass(refusals);
        out.refused = std::move(*refusals);
        return out;
    }
    auto all = opened->outlines(request.family);
    if (!all) return pass(all);
    if (!request.fits.empty() && !all->empty()) {
        out.narrowed = true;
        if (const Status kept = keep_fitting(shop, request, *all, out.unsettled); !kept) return pass(kept);
    }
    std::map<std::string, std::vector<Outline>> by_family;
    for (Outline& s : *all) by_family[s.family].push_back(std::move(s));
    if (by_family.empty()) return out;
    const auto families = load_families(shop);  // one that is no more costs the order, not the list
    for (auto& [id, releases] : by_family) {
        const family::Family* family = nullptr;
        if (families)
            for (const family::Family& f : *families)
                if (f.id == id) family = &f;
        const auto as_of = opened->as_of(id);
        if (!as_of) return pass(as_of);
        std::string best = newest(family, releases);
        out.families.push_back({id, std::move(releases), std::move(best), *as_of});
    }
    return out;
}

Result<ShownRelease> show_release(const Workshop& shop, const ReleaseRequest& request) {
    const auto opened = existing_shelf(shop, request.release);
    if (!opened) return pass(opened);
    auto found = opened->find(request.family, request.release);
    if (!found) return pass(found);
    auto outline = outline_of(*opened, *found);
    if (!outline) return pass(outline);
    ShownRelease out;
    out.judgement = judged(*found);
    out.shelved = std::move(*found);
    out.outline = std::move(*outline);
    return out;
}

Result<std::string> release_inventory(const Workshop& shop, const ReleaseRequest& request,
                                      const std::string& program_version) {
    const auto opened = existing_shelf(shop, request.release);
    if (!opened) return pass(opened);
    const auto found = opened->find(request.family, request.release);
    if (!found) return pass(found);
    const auto family = load_family_by_id(shop, found->family);
    if (!family) return pass(family);
    return shelf::cyclonedx(*family, *found, program_version);
}

Result<Shelf> existing_shelf(const Workshop& shop, const std::string& release) {
    if (!shelf_exists(shop))
        return bad_input("release-not-shelved", release.empty() ? "the shelf" : "release " + printable(release),
                         "is not on the shelf, which is empty", shelf::add_its_package());
    return Shelf::open(shop.shelf_folder());
}

}  // namespace fettle::workshop
