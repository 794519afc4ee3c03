#include "fettle/shelf/shelf.h"

#include <fmt/core.h>

#include <algorithm>
#include <optional>
#include <system_error>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/shelf/intake.h"
#include "fettle/shelf/shelf_state.h"
#include "fettle/shelf/vet.h"

namespace fettle::shelf {
namespace fs = std::filesystem;

// A shelf that was made for nothing (its first package was refused, or somebody only looked) goes again, unless
// somebody else has it open by now.
namespace {

void take_away(const fs::path& folder, const std::vector<fs::path>& made) {
    std::error_code ec;
    for (int tries = 0; tries < 10 && fs::exists(folder, ec); ++tries) fs::remove_all(folder, ec);
    for (const fs::path& path : made) fs::remove(path, ec);  // only those that are empty
}

// The same when the program is ended from outside, in the midst of whatever it does: seen through a connection of its
// own, nothing was added yet.
void take_away_if_empty(const fs::path& folder, const std::vector<fs::path>& made, const FileLock& use) {
    if (!use.alone()) return;
    {
        auto catalogue = Catalogue::open(folder / "catalogue.sqlite");
        if (!catalogue) return;
        const auto all = catalogue->outlines("", "");
        if (!all || !all->empty()) return;
    }
    take_away(folder, made);
}

}  // namespace

Shelf::State::~State() {
    last.reset();
    if (made.empty()) return;
    const auto all = catalogue->outlines("", "");
    if (!all || !all->empty() || !use.alone()) return;
    catalogue.reset();
    take_away(folder, made);
}

Shelf::Shelf(std::unique_ptr<State> state) : state_(std::move(state)) {}
Shelf::Shelf(Shelf&&) noexcept = default;
Shelf& Shelf::operator=(Shelf&&) noexcept = default;
Shelf::~Shelf() = default;

namespace {

std::vector<fs::path> missing_folders(const fs::path& folder) {
    std::vector<fs::path> out;
    std::error_code ec;
    for (fs::path at = fs::absolute(folder, ec); at.has_relative_path() && !fs::exists(at, ec); at = at.parent_path())
        out.push_back(at);
    return out;
}

}  // namespace

Result<Shelf> Shelf::open(const fs::path& folder, Disk* disk) {
    std::error_code ec;
    if (fs::exists(folder / "objects", ec))
        return outside_error("shelf-old-layout", folder.string(),
                             "was made by an earlier Fettle, which kept each piece in a file of its own",
                             Next{"add its packages again to a new home (", with(wanted("home", "DIR")),
                                  "); this folder is left as it is"});
    for (;;) {
        std::vector<fs::path> made = missing_folders(folder);
        for (const char* part : {"packs", "staging"})
            if (auto ok = make_folder(folder / part); !ok) return pass(ok);
        auto use = FileLock::share(folder / "use.lock");
        if (!use) return pass(use);
        if (!use->is_of(folder / "use.lock")) continue;  // somebody took the empty shelf away just now
        for (const char* part : {"packs", "staging"})
            if (auto ok = make_folder(folder / part); !ok) return pass(ok);
        auto publishing = FileLock::take(publish_lock(folder));
        if (!publishing) return pass(publishing);
        auto catalogue = Catalogue::open(folder / "catalogue.sqlite");
        if (!catalogue) return pass(catalogue);
        std::unique_ptr<State> state(new State{folder, disk ? *disk : real_disk(), std::move(*use),
                                               std::move(*catalogue), std::make_unique<PackReader>(folder),
                                               std::move(made), std::nullopt, nullptr});
        if (State& s = *state; !s.made.empty())
            s.for_nothing.emplace(folder, [&s] { take_away_if_empty(s.folder, s.made, s.use); });
        if (auto ok = clear_leftovers(state->store()); !ok) return pass(ok);
        return Shelf(std::move(state));
    }
}

namespace {

Status check_slip(const ProvenanceSlip& slip) {
    if (trim(slip.from).empty())
        return usage_error("slip-from-missing", with(flag("from")),
                           "a package is not shelved without saying where it came from",
                           Next(with(given("from", "who or where"))));
    const std::string& also = slip.also_seen_sha256;
    if (!also.empty() && (also.size() != 64 || !unhex(also)))
        return usage_error("also-seen-form", with(flag("also-seen")), "is no SHA-256: 64 hex digits were expected",
                           "take it from the other source's page, or from sha256sum");
    return {};
}

// Another source's digest: equal is a good sign; different means that somebody's bytes are not the maker's, unless only
// the wrapping differs, which a good signature over the index allows.
void vet_second_source(const ProvenanceSlip& slip, const Intake& in, Judgement& j) {
    if (slip.also_seen_sha256.empty()) return;
    const std::string also = lower(slip.also_seen_sha256);
    if (also == in.package_sha256) {
        j.add({"second-source-agrees", Verdict::fit, "the package has the digest that was seen at the second source",
               "package", "SHA-256"});
        return;
    }
    const bool proven = in.vetting.signature == SignatureState::good;
    j.add({"second-source-differs", proven ? Verdict::mind : Verdict::halt,
           fmt::format("the second source has other bytes ({}… there, {}… here){}", also.substr(0, 12),
                       in.package_sha256.substr(0, 12),
                       proven ? "; the maker's signature holds for these, so the wrapping may differ"
                              : ", and nothing tells which of the two is the maker's"),
           "package", "SHA-256"});
}

bool same_bytes(const Catalogue::Known& known, const Intake& in) {
    const auto by_path = [](const std::vector<CataloguedFile>& files) {
        std::map<std::string, std::string> out;
        for (const CataloguedFile& f : files) out[f.path] = f.sha256;
        return out;
    };
    return by_path(known.files) == by_path(in.files);
}

// Is it here already? Sets the halt for "same name, other bytes"; an index-only entry gives way to the whole package.
enum class Meets { nothing, the_same, an_index_of_it };
Meets meets(const std::optional<Catalogue::Known>& known, const Intake& in, bool index_only, Judgement& j) {
    if (!known) return Meets::nothing;
    const bool same_index = known->index_sha256 == in.release.index_sha256;
    if (same_index && known->index_only && !index_only) return Meets::an_index_of_it;
    if (same_index && (index_only || same_bytes(*known, in))) return Meets::the_same;
    j.add({"same-release-other-bytes", Verdict::halt,
           fmt::format("{} {} is on the shelf already, with other bytes: one of the two is not what the maker issued",
                       printable(in.release.family), printable(in.release.release)),
           "package", "digests"});
    return Meets::nothing;
}

tl::unexpected<Error> refused(const AddRequest& request, const Vetting& vetting, Vetting* refusal) {
    if (refusal) *refusal = vetting;
    constexpr std::size_t most_said = 20;  // a person reads; --json lists them all
    std::size_t findings = 0;
    std::vector<std::string> said;
    for (const Reason& r : vetting.judgement.reasons)
        if (r.verdict == Verdict::halt && ++findings <= most_said)
            said.push_back(fmt::format("[{}] {}{}", r.code, r.where.empty() ? "" : r.where + ": ", r.text));
    return bad_input(
        "package-refused", request.package.string(),
        fmt::format("not shelved, {}: {}{}", plural(findings, "finding"), join(said, "; "),
                    findings > most_said ? fmt::format("; and {} more", findings - most_said) : std::string()),
        "put these right at the source and add it again; docs/reasons.md says more on each");
}

}  // namespace

Result<Added> Shelf::add(const family::Family& family, const AddRequest& request, const Clock& clock,
                         const Progress& progress, Vetting* refusal) {
    if (auto ok = check_slip(request.slip); !ok) return pass(ok);
    state_->last.reset();
    const auto noted = [&](const Vetting& vetting) {
        // On a shelf that was there already: one made for this package alone goes again with all that is in it.
        if (!state_->made.empty()) return;
        Refusal r{clock.now(), family.id, printable(request.package.string()), request.slip.from, {}};
        for (const Reason& reason : vetting.judgement.reasons)
            if (reason.verdict == Verdict::halt &&
                std::find(r.codes.begin(), r.codes.end(), reason.code) == r.codes.end())
                r.codes.push_back(reason.code);
        (void)state_->catalogue->add_refusal(r);  // that it could not be noted is not what one has to know now
    };
    auto taken = take_in(family, request, state_->store(), clock.now(), progress);
    if (!taken) return pass(taken);
    Intake& in = *taken;
    Judgement& j = in.vetting.judgement;
    if (j.verdict() == Verdict::halt) {
        noted(in.vetting);
        return refused(request, in.vetting, refusal);
    }
    if (auto ok = in.staging->seal(); !ok) return pass(ok);
    vet_second_source(request.slip, in, j);
    auto others = state_->catalogue->outlines(family.id, "");
    if (!others) return pass(others);
    std::vector<std::string> releases;
    for (const Outline& o : *others) releases.push_back(o.release.release);
    j.add(vet_against_shelf(family, in.release, releases));
    if (request.slip.right == Right::unknown)
        j.add({"right-unknown", Verdict::mind, "by what right it is here is not known: it can be looked at, not laid",
               "provenance slip", "typed"});

    Added added;
    added.shelved.family = family.id;
    added.shelved.release = in.release;
    added.shelved.slip = request.slip;
    added.shelved.slip.at = clock.now();
    added.shelved.slip.source_path = printable(request.package.string());
    added.shelved.slip.package_sha256 = in.package_sha256;
    added.shelved.slip.content_sha256 = in.content_sha256;
    added.shelved.signature = in.vetting.signature;
    added.shelved.index_only = request.index_only;
    added.shelved.added_at = added.shelved.slip.at;
    for (const Reason& r : j.reasons)
        if (r.verdict != Verdict::fit) added.shelved.vetted.add(r);

    if (progress) progress("shelving", in.vetting.bytes, in.vetting.bytes);
    auto publishing = FileLock::take(publish_lock(state_->folder));
    if (!publishing) return pass(publishing);
    auto known = state_->catalogue->known(family.id, in.release.release);
    if (!known) return pass(known);
    const Meets met = meets(*known, in, request.index_only, j);
    if (j.verdict() == Verdict::halt) {
        noted(in.vetting);
        return refused(request, in.vetting, refusal);
    }
    added.was_there = met == Meets::the_same;
    const auto put = [&]() -> Status {
        // Also when it was there: that puts a damaged object right.
        if (auto ok = in.staging->publish(); !ok) return ok;
        const NewContents& contents = in.staging->contents();
        if (added.was_there)
            return state_->catalogue->add_slip((*known)->id, added.shelved.slip, contents, in.staging->packs());
        return state_->catalogue->add(added.shelved, in.files, contents, in.staging->packs());
    };
    if (Status done = put(); !done) {
        in.staging->withdraw();
        return pass(done);
    }
    state_->for_nothing.reset();  // there is something on it now
    state_->made.clear();
    state_->reader->forget();
    added.vetting = in.vetting;
    if (added.was_there) {
        auto there = state_->catalogue->list(family.id, in.release.release);
        if (!there) return pass(there);
        added.shelved = there->front();
    }
    return added;
}

Result<std::vector<Shelved>> Shelf::list(std::string_view family) const {
    return state_->catalogue->list(family, "");
}

Result<Shelved> Shelf::find(std::string_view family, std::string_view release) const {
    auto outline = find_outline(*state_->catalogue, family, release);
    if (!outline) return pass(outline);
    auto found = state_->catalogue->list(outline->family, release);
    if (!found) return pass(found);
    if (found->empty())
        return outside_error("shelf-damaged", outline->release.release, "went from the catalogue just now",
                             "try again");
    return std::move(found->front());
}

Result<Shelf::AsOf> Shelf::as_of(std::string_view family) const {
    return state_->catalogue->as_of(family);
}

Result<std::vector<Outline>> Shelf::outlines(std::string_view family) const {
    return state_->catalogue->outlines(family, "");
}

Result<std::vector<Refusal>> Shelf::refusals() const {
    return state_->catalogue->refusals();
}

}  // namespace fettle::shelf
