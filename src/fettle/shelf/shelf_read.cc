// Giving pieces back: one file, or all of them with their names.
#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <csignal>
#include <system_error>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/half_done.h"
#include "fettle/base/text.h"
#include "fettle/shelf/names.h"
#include "fettle/shelf/shelf_state.h"

namespace fettle::shelf {
namespace fs = std::filesystem;

Result<Outline> find_outline(Catalogue& catalogue, std::string_view family, std::string_view release) {
    auto found = catalogue.outlines(family, release);
    if (!found) return pass(found);
    if (found->size() == 1) return std::move(found->front());
    const std::string place = fmt::format("release {}", printable(release));
    if (found->size() > 1) {
        std::vector<std::string> families;
        for (const Outline& o : *found) families.push_back(o.family);
        return bad_input("release-ambiguous", place,
                         "is on the shelf for more than one family: " + join(families, ", "),
                         Next{"say which with ", with(flag("family"))});
    }
    auto all = catalogue.outlines(family, "");
    if (!all) return pass(all);
    std::vector<std::string> names;
    for (const Outline& o : *all) names.push_back(o.family + " " + o.release.release);
    return bad_input(
        "release-not-shelved", place,
        names.empty() ? "is not on the shelf, which is empty" : "is not on the shelf; there are: " + join(names, ", "),
        add_its_package());
}

Next add_its_package() {
    return {"add its package: ",
            propose(Act::add_to_shelf, {wanted("package", "PATH"), wanted("from", "TEXT"), wanted("right", "WORD")})};
}

Result<std::unique_ptr<Reading>> reading_of(Catalogue& catalogue, std::string_view family, std::string_view release) {
    auto outline = find_outline(catalogue, family, release);
    if (!outline) return pass(outline);
    auto known = catalogue.known(outline->family, outline->release.release);
    if (!known) return pass(known);
    if (!*known)
        return outside_error("shelf-damaged", outline->release.release, "went from the catalogue just now",
                             "try again");
    auto held = catalogue.held_by(outline->id);
    if (!held) return pass(held);
    auto out = std::make_unique<Reading>();
    out->family = outline->family;
    out->release = outline->release.release;
    out->index_only = outline->index_only;
    out->files = std::move((*known)->files);
    for (std::size_t i = 0; i < out->files.size(); ++i) out->place.emplace(out->files[i].path, i);
    for (KeptContent& c : held->contents) out->parts_of.emplace(c.sha256, std::move(c.parts));
    out->parts = std::move(held->parts);
    return out;
}

tl::unexpected<Error> unreadable(const Loaded& loaded, const std::string& path) {
    return outside_error(loaded.missing ? "object-missing" : "object-damaged", path,
                         loaded.missing ? "its bytes, or what they rest on, are gone from the shelf"
                                        : "its bytes on the shelf, or what they rest on, are damaged",
                         Next{propose(Act::verify_shelf), " says what is damaged; adding that package again mends it"});
}

Status in_parallel(std::size_t n, const std::function<Status(std::size_t, Bench&)>& work) {
    std::atomic<std::size_t> next{0};
    std::atomic<bool> stop{false};
    std::mutex guard;  // of `failed`
    Status failed;
    const auto run = [&] {
        Bench bench;
        for (std::size_t i = next++; i < n && !stop; i = next++) {
            Status one = work(i, bench);
            if (one) continue;
            const std::lock_guard lock(guard);
            if (failed) failed = std::move(one);
            stop = true;
        }
    };
    {
        const std::jthread second(run);
        run();
    }
    return failed;
}

namespace {

using Sink = std::function<Status(ByteView)>;

// The file's content to the sink; `started` tells whether the sink has got any of it.
Status send(PackReader& reader, Reading& r, const CataloguedFile& file, bool digest, const Sink& sink, bool& started) {
    const auto parts = r.parts_of.find(file.sha256);
    if (parts == r.parts_of.end()) return unreadable({{}, 1, true}, file.path);
    Bench own;
    Sha256Stream sha;
    for (const std::int64_t id : parts->second) {
        std::optional<Loaded> got = r.ahead ? r.ahead->next(id) : std::nullopt;
        if (!got) {
            const auto part = r.parts.find(id);
            got = part == r.parts.end() ? Loaded{{}, 1, true} : reader.load(r.parts, part->second, own);
        }
        if (got->culprit != 0) return unreadable(*got, file.path);
        if (digest) sha.update(got->bytes);
        started = true;
        if (auto ok = sink(got->bytes); !ok) return ok;
    }
    if (digest && hex(sha.finish()) != file.sha256) return unreadable({{}, 1, false}, file.path);
    return {};
}

// From the second file in the card's order on, the next ones are expanded ahead.
void look_ahead(PackReader& reader, Reading& r, std::size_t file) {
    const bool in_order = file == r.next;
    r.next = file + 1;
    if (!in_order) r.ahead.reset();
    if (r.ahead || !in_order || file == 0) return;
    std::vector<std::int64_t> order;
    for (std::size_t i = file; i < r.files.size(); ++i)
        if (const auto at = r.parts_of.find(r.files[i].sha256); at != r.parts_of.end())
            order.insert(order.end(), at->second.begin(), at->second.end());
    r.ahead = std::make_unique<ReadAhead>(reader, r.parts, std::move(order));
}

Status read_file(Catalogue& catalogue, PackReader& reader, std::unique_ptr<Reading>& last, std::string_view family,
                 std::string_view release, std::string_view path, bool digest, const Sink& sink) {
    bool fresh = false;
    for (;;) {
        if (!last || last->family != family || last->release != release) {
            last.reset();
            auto now = reading_of(catalogue, family, release);
            if (!now) return pass(now);
            last = std::move(*now);
            fresh = true;
        }
        const auto file = last->place.find(path);
        if (file == last->place.end()) {
            const std::string place = fmt::format("{} of release {}", printable(path), printable(release));
            if (last->index_only)
                return bad_input("release-index-only", place, "only the index of this release is on the shelf",
                                 "add the whole package");
            return bad_input(
                "file-not-shelved", place, "is no file of this release",
                Next{propose(Act::show_release, {given("release", std::string(release))}), " lists its files"});
        }
        look_ahead(reader, *last, file->second);
        bool started = false;
        Status done = send(reader, *last, last->files[file->second], digest, sink, started);
        const bool unread = !done && (done.error().code == "object-missing" || done.error().code == "object-damaged");
        if (!unread) return done;
        last.reset();  // another process may have tidied or mended meanwhile: ask the catalogue once more
        reader.forget();
        if (started || fresh) return done;
    }
}

}  // namespace

Status Shelf::read(std::string_view family, std::string_view release, std::string_view path, const Sink& sink) const {
    return read_file(*state_->catalogue, *state_->reader, state_->last, family, release, path, true, sink);
}

Status Shelf::read_for_digest(std::string_view family, std::string_view release, std::string_view path,
                              const Sink& sink) const {
    return read_file(*state_->catalogue, *state_->reader, state_->last, family, release, path, false, sink);
}

Result<std::vector<family::PieceFile>> Shelf::files(std::string_view family, std::string_view release) const {
    auto outline = find_outline(*state_->catalogue, family, release);
    if (!outline) return pass(outline);
    auto known = state_->catalogue->known(outline->family, outline->release.release);
    if (!known) return pass(known);
    std::vector<family::PieceFile> out;
    if (*known)
        for (const CataloguedFile& f : (*known)->files) out.push_back({f.path, f.size, {{"sha256", f.sha256}}});
    return out;
}

}  // namespace fettle::shelf
