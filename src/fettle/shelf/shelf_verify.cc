// Reading everything. What rests on what makes trees; each is walked from its root down with the content of every
// ancestor at hand, so that each record is read and expanded once, however deep the chains are.
#include <fmt/core.h>

#include <algorithm>
#include <deque>
#include <tuple>
#include <unordered_map>
#include <unordered_set>

#include "fettle/base/digest.h"
#include "fettle/shelf/shelf_state.h"

namespace fettle::shelf {
namespace {

using Holder = Catalogue::Holder;

struct Finding {
    std::string code;
    std::int64_t culprit = 0;  // part; for "object-rests-on-damaged"
};

class Walk {
public:
    Walk(PackReader& reader, const Catalogue::Held& held, const Progress& progress)
        : reader_(reader), held_(held), progress_(progress) {
        for (const KeptContent& c : held.contents) {
            total_ += c.size;
            contents_[c.id] = &c;
        }
        for (const auto& [id, part] : held.parts) {
            if (part.form == Form::delta && held.parts.contains(part.prefix))
                above_[part.prefix].push_back(&part);
            else
                roots_.push_back(&part);
        }
        std::sort(roots_.begin(), roots_.end(),
                  [](const Part* a, const Part* b) { return std::pair(a->pack, a->at) < std::pair(b->pack, b->at); });
        for (const KeptContent& c : held.contents)
            if (c.parts.size() > 1) long_.push_back(&c);
    }

    Status run() {
        auto ok = in_parallel(roots_.size(), [&](std::size_t i, Bench& bench) -> Status {
            std::deque<Buffer> levels;
            down(*roots_[i], {}, 0, 0, bench, levels);
            return {};
        });
        if (!ok) return ok;
        // A content of several parts has its digest over all of them in order.
        return in_parallel(long_.size(), [&](std::size_t i, Bench& bench) -> Status {
            const KeptContent& c = *long_[i];
            Sha256Stream sha;
            for (const std::int64_t id : c.parts) {
                const auto part = held_.parts.find(id);
                if (part == held_.parts.end()) return note(c.id, {"object-missing", 0});
                const Loaded got = reader_.load(held_.parts, part->second, bench);
                if (got.culprit != 0) return {};  // its part was found damaged already
                sha.update(got.bytes);
                went(got.bytes.size());
            }
            if (hex(sha.finish()) != c.sha256) return note(c.id, {"object-damaged", 0});
            return {};
        });
    }

    const std::unordered_map<std::int64_t, Finding>& findings() const { return findings_; }  // by content
    std::uint64_t bytes() const { return done_; }

private:
    Status note(std::int64_t content, Finding f) {
        const std::lock_guard lock(guard_);
        auto [at, fresh] = findings_.emplace(content, f);
        if (!fresh && at->second.code == "object-rests-on-damaged") at->second = std::move(f);
        return {};
    }

    void went(std::uint64_t bytes) {
        const std::lock_guard lock(guard_);
        done_ += bytes;
        if (progress_) progress_("verifying", done_, total_);
    }

    // `culprit`: an ancestor that could not be read; then only the record itself can be looked at.
    void down(const Part& part, const Loaded& prefix, std::int64_t culprit, std::size_t level, Bench& bench,
              std::deque<Buffer>& levels) {
        if (levels.size() <= level) levels.emplace_back();
        Loaded got;
        if (culprit == 0 && part.form == Form::delta && !held_.parts.contains(part.prefix))
            got = {{}, part.id, true};
        else
            got = culprit == 0 ? reader_.expand(part, prefix, bench, levels[level]) : reader_.record(part, bench);
        const auto content = contents_.find(part.content);
        const bool wanted = content != contents_.end();
        if (got.culprit != 0) {
            if (wanted) (void)note(part.content, {got.missing ? "object-missing" : "object-damaged", 0});
            culprit = part.id;
        } else if (culprit != 0) {
            if (wanted) (void)note(part.content, {"object-rests-on-damaged", culprit});
        } else if (wanted && content->second->parts.size() == 1) {
            if (hex(sha256(got.bytes)) != content->second->sha256) (void)note(part.content, {"object-damaged", 0});
            went(got.bytes.size());
        }
        const Loaded mine = culprit == 0 ? got : Loaded();
        const auto children = above_.find(part.id);
        if (children == above_.end()) return;
        for (const Part* child : children->second) down(*child, mine, culprit, level + 1, bench, levels);
    }

    PackReader& reader_;
    const Catalogue::Held& held_;
    const Progress& progress_;
    std::unordered_map<std::int64_t, const KeptContent*> contents_;
    std::unordered_map<std::int64_t, std::vector<const Part*>> above_;
    std::vector<const Part*> roots_;
    std::vector<const KeptContent*> long_;
    std::uint64_t total_ = 0;
    std::mutex guard_;
    std::unordered_map<std::int64_t, Finding> findings_;  // guarded by guard_
    std::uint64_t done_ = 0;                              // guarded by guard_
};

}  // namespace

Result<Verified> Shelf::verify(std::string_view family, std::string_view release, const Clock& clock,
                               const Progress& progress) {
    State& s = *state_;
    // Together with intakes, not with tidying: that takes packs away.
    auto work = FileLock::share(work_lock(s.folder));
    if (!work) return pass(work);
    s.reader->forget();
    std::vector<Outline> releases;
    if (release.empty()) {
        auto all = s.catalogue->outlines(family, "");
        if (!all) return pass(all);
        releases = std::move(*all);
    } else {
        auto one = find_outline(*s.catalogue, family, release);
        if (!one) return pass(one);
        releases.push_back(std::move(*one));
    }
    auto held = release.empty() ? s.catalogue->held() : s.catalogue->held_by(releases.front().id);
    if (!held) return pass(held);
    Walk walk(*s.reader, *held, progress);
    if (auto ok = walk.run(); !ok) return pass(ok);

    Verified out;
    out.releases = releases.size();
    out.contents = held->contents.size();
    out.bytes = walk.bytes();
    std::unordered_set<std::int64_t> ids, bad;
    for (const Outline& o : releases) ids.insert(o.id);
    for (const Outline& o : releases) {
        auto known = s.catalogue->known(o.family, o.release.release);
        if (!known) return pass(known);
        if (*known) out.files += (*known)->files.size();
    }
    for (const auto& [content, finding] : walk.findings()) {
        auto holders = s.catalogue->holders(content);
        if (!holders) return pass(holders);
        std::string rests_on;
        if (finding.culprit != 0) {
            rests_on = "a piece of a removed release";
            const auto culprit = held->parts.find(finding.culprit);
            auto theirs = s.catalogue->holders(culprit == held->parts.end() ? 0 : culprit->second.content);
            if (!theirs) return pass(theirs);
            if (!theirs->empty())
                rests_on = fmt::format("{} {} {}", theirs->front().family, theirs->front().name, theirs->front().path);
        }
        for (const Holder& h : *holders) {
            if (!ids.contains(h.release)) continue;
            bad.insert(h.release);
            out.damage.push_back({h.family, h.name, h.path, finding.code, rests_on});
        }
    }
    const auto key = [](const Verified::Damage& d) { return std::tie(d.family, d.release, d.path); };
    std::sort(out.damage.begin(), out.damage.end(), [&](const auto& a, const auto& b) { return key(a) < key(b); });
    std::vector<std::int64_t> good, damaged;
    for (const std::int64_t id : ids) (bad.contains(id) ? damaged : good).push_back(id);
    if (auto ok = s.catalogue->set_verified(good, clock.now(), true); !ok) return pass(ok);
    if (auto ok = s.catalogue->set_verified(damaged, clock.now(), false); !ok) return pass(ok);
    return out;
}

Status Shelf::remove(std::string_view family, std::string_view release) {
    auto outline = find_outline(*state_->catalogue, family, release);
    if (!outline) return pass(outline);
    state_->last.reset();
    return state_->catalogue->remove(outline->id);
}

}  // namespace fettle::shelf
