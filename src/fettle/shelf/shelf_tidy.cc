// Giving space back. Parts of living releases go to new packs, packs that nothing needs go. Where a living part rests
// on a dead one (its release was removed), the first of those takes the dead one's place and rests on what that rested
// on, or on nothing; the others come to rest on it. So no chain gets longer, and the shelf becomes about as small as if
// the removed release had never been there.
#include <algorithm>
#include <map>
#include <unordered_map>
#include <unordered_set>

#include "fettle/shelf/shelf_state.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

constexpr std::uint64_t worth_a_twentieth = 20;  // a pack is written again when more than this share of it is dead

class Plan {
public:
    explicit Plan(const Catalogue::Held& held) : parts_(held.parts) {
        for (const KeptContent& c : held.contents)
            for (const std::int64_t id : c.parts) living_.insert(id);
        std::map<std::int64_t, std::vector<std::int64_t>> children;  // in order of ids, so that it repeats itself
        for (const auto& [id, part] : parts_)
            if (part.form == Form::delta) children[part.prefix].push_back(id);
        for (auto& [id, list] : children) std::sort(list.begin(), list.end());
        for (const auto& [id, part] : parts_)
            if (!living_.contains(id)) heir(id, children);
        for (const auto& [id, part] : parts_)
            if (living_.contains(id) && part.form == Form::delta && !living_.contains(part.prefix))
                new_prefix_[id] = resolved(id, part.prefix);
    }

    bool living(std::int64_t id) const { return living_.contains(id); }
    // Another prefix than now; 0: none.
    const std::unordered_map<std::int64_t, std::int64_t>& new_prefix() const { return new_prefix_; }

private:
    // The living part that takes a dead one's place: its first living child, else that of its first child that has one.
    std::int64_t heir(std::int64_t dead, const std::map<std::int64_t, std::vector<std::int64_t>>& children) {
        if (const auto at = heirs_.find(dead); at != heirs_.end()) return at->second;
        std::int64_t found = 0;
        if (const auto mine = children.find(dead); mine != children.end()) {
            for (const std::int64_t child : mine->second)
                if (found == 0 && living_.contains(child)) found = child;
            for (const std::int64_t child : mine->second)
                if (found == 0) found = heir(child, children);
        }
        return heirs_[dead] = found;
    }

    std::int64_t resolved(std::int64_t id, std::int64_t prefix) const {
        while (prefix != 0 && !living_.contains(prefix)) {
            const auto at = heirs_.find(prefix);
            if (at != heirs_.end() && at->second != id && at->second != 0) return at->second;
            const auto below = parts_.find(prefix);
            prefix = below == parts_.end() || below->second.form != Form::delta ? 0 : below->second.prefix;
        }
        return prefix;
    }

    const Parts& parts_;
    std::unordered_set<std::int64_t> living_;
    std::unordered_map<std::int64_t, std::int64_t> heirs_, new_prefix_;
};

tl::unexpected<Error> damaged_so_untidied(const Loaded& got) {
    return outside_error(
        got.missing ? "object-missing" : "object-damaged", "the shelf",
        "a piece that has to be moved cannot be read; nothing was tidied",
        Next{propose(Act::verify_shelf), " says which; add its package again to mend it, or remove its release"});
}

}  // namespace

Result<Tidied> Shelf::tidy(const Progress& progress) {
    State& s = *state_;
    auto work = FileLock::share(work_lock(s.folder));
    if (!work) return pass(work);
    if (!work->alone())
        return outside_error("shelf-in-use", s.folder.string(), "a package is being taken in, or the shelf verified",
                             "wait until that has ended, then try again");
    s.last.reset();
    s.reader->forget();
    auto held = s.catalogue->held();
    if (!held) return pass(held);
    auto packs = s.catalogue->packs();
    if (!packs) return pass(packs);
    const Plan plan(*held);

    // Bytes of each pack that stay where they are.
    std::map<std::int64_t, std::uint64_t> staying;
    for (const auto& [id, part] : held->parts)
        if (plan.living(id) && !plan.new_prefix().contains(id)) staying[part.pack] += record_head_bytes + part.stored;
    Tidied out;
    std::unordered_set<std::int64_t> again;
    std::vector<std::int64_t> gone;
    for (const std::int64_t id : *packs) {
        std::error_code ec;
        const std::uint64_t size = fs::file_size(pack_path(s.folder, id), ec);
        const std::uint64_t here = ec ? 0 : size;
        out.bytes_before += here;
        const std::uint64_t kept = staying[id] + pack_head_bytes;
        if (!ec && (here <= kept || (staying[id] > 0 && (here - kept) * worth_a_twentieth <= here))) continue;
        again.insert(id);
        gone.push_back(id);
    }
    out.bytes_after = out.bytes_before;

    std::vector<const Part*> to_do;
    for (const auto& [id, part] : held->parts)
        if (plan.living(id) && (again.contains(part.pack) || plan.new_prefix().contains(id))) to_do.push_back(&part);
    std::sort(to_do.begin(), to_do.end(),
              [](const Part* a, const Part* b) { return std::pair(a->pack, a->at) < std::pair(b->pack, b->at); });

    auto folder = StagingFolder::make(s.store());
    if (!folder) return pass(folder);
    PackWriter writer(s.disk, (*folder)->path());
    std::vector<Catalogue::Moved> moved(to_do.size());
    std::mutex guard;  // of out, progress
    std::uint64_t done = 0, total = 0;
    for (const Part* p : to_do) total += p->stored;
    auto written = in_parallel(to_do.size(), [&](std::size_t i, Bench& bench) -> Status {
        const Part& part = *to_do[i];
        const auto other = plan.new_prefix().find(part.id);
        Part now = part;
        Record record;
        Loaded got;
        Result<NewPart> placed = NewPart{};
        if (other == plan.new_prefix().end()) {
            got = s.reader->record(part, bench, &record);
            if (got.culprit != 0) return damaged_so_untidied(got);
            placed = writer.append(record.head, bench.stored.span());
        } else {
            Buffer prefix;
            if (other->second != 0) {
                got = s.reader->load(held->parts, held->parts.at(other->second), bench, prefix);
                if (got.culprit != 0) return damaged_so_untidied(got);
            }
            got = s.reader->load(held->parts, part, bench);
            if (got.culprit != 0) return damaged_so_untidied(got);
            RecordHead head;
            head.form = bench.press.squeeze(
                got.bytes, other->second != 0 ? std::optional<ByteView>(prefix.view()) : std::nullopt, bench.out);
            head.size = part.size;
            head.content_check = quick_check(got.bytes);
            if (head.form == Form::delta) head.prefix_check = quick_check(prefix.view());
            placed = writer.append(head, bench.out.span());
            now.form = head.form;
            now.prefix = head.form == Form::delta ? other->second : 0;
        }
        if (!placed) return pass(placed);
        now.at = placed->at;
        now.stored = placed->stored;
        moved[i] = {now, placed->pack};
        const std::lock_guard lock(guard);
        ++(other == plan.new_prefix().end() ? out.parts_moved : out.parts_rebuilt);
        done += part.stored;
        if (progress) progress("tidying", done, total);
        return {};
    });
    if (!written) return pass(written);
    if (auto ok = writer.sync(); !ok) return pass(ok);

    auto publishing = FileLock::take(publish_lock(s.folder));
    if (!publishing) return pass(publishing);
    // A release may have been removed meanwhile; then the next tidying finds that. None can have come.
    auto first = s.catalogue->free_pack();
    if (!first) return pass(first);
    std::vector<std::int64_t> ids;
    for (std::size_t i = 0; i < writer.packs(); ++i) ids.push_back(*first + static_cast<std::int64_t>(i));
    const auto put = [&]() -> Status {
        if (auto ok = writer.publish(s.folder, ids); !ok) return ok;
        if (auto ok = s.disk.before_commit(); !ok) return ok;
        return s.catalogue->move(moved, *held, ids, gone);
    };
    if (auto ok = put(); !ok) {
        for (const std::int64_t id : ids) s.disk.remove(pack_path(s.folder, id));
        return pass(ok);
    }
    for (const std::int64_t id : gone) s.disk.remove(pack_path(s.folder, id));
    s.reader->forget();
    out.bytes_after = 0;
    auto now = s.catalogue->packs();
    if (!now) return pass(now);
    for (const std::int64_t id : *now) {
        std::error_code ec;
        const auto size = fs::file_size(pack_path(s.folder, id), ec);
        if (!ec) out.bytes_after += size;
    }
    return out;
}

}  // namespace fettle::shelf
