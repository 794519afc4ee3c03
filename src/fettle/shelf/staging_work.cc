// Compressing and writing: at once on the thread that has read while another one reads too, so that the bytes are still
// in its cache; else on a helper thread while it has room. So both cores are at work whether a package is read by one
// thread (an archive, or the last long file of a folder) or by two, and what waits is bounded.
#include <algorithm>

#include "fettle/base/digest.h"
#include "fettle/shelf/staging.h"
#include "fettle/shelf/staging_whole.h"

namespace fettle::shelf {
namespace {

constexpr std::size_t most_waiting_bytes = 8u << 20;  // one more part may wait when nothing else does
constexpr std::size_t large_part = 4u << 20;
constexpr std::size_t buffers_kept = 64, largest_kept = 1u << 20;
constexpr int deepest = 2;
// A predecessor that is itself a difference of less than a tenth is passed over for what it rests on: nearly as like,
// and one expansion less now and whenever this is read. On six kernel releases (2.4 GB) 282 MB instead of 279 for 0.91
// of the processor time of taking in and 0.86 of that of giving back the last; with a fifteenth 276 MB, since then
// fewer chains are at their limit.
constexpr std::uint64_t small_difference = 10;

}  // namespace

std::unique_ptr<Bench> Staging::bench() {
    const std::lock_guard lock(guard_);
    if (benches_.empty()) return std::make_unique<Bench>();
    auto out = std::move(benches_.back());
    benches_.pop_back();
    return out;
}

void Staging::give_back(std::unique_ptr<Bench> bench) {
    if (bench->one.capacity() > large_part || bench->two.capacity() > large_part ||
        bench->out.capacity() > large_part || bench->stored.capacity() > large_part)
        *bench = Bench();
    const std::lock_guard lock(guard_);
    benches_.push_back(std::move(bench));
}

Buffer Staging::buffer() {
    const std::lock_guard lock(guard_);
    if (buffers_.empty()) return {};
    Buffer out = std::move(buffers_.back());
    buffers_.pop_back();
    return out;
}

// What a part would rest on; none when the predecessor has no such part. No chain gets longer than `deepest`: then what
// the predecessor's part rests on serves.
std::optional<Part> Staging::prefix_for(const std::string& path, int seq) const {
    const auto before = before_.find(path);
    if (before == before_.end() || before->second.empty()) return std::nullopt;
    const auto nth = std::min(static_cast<std::size_t>(seq), before->second.size() - 1);
    auto part = parts_.find(before->second[nth]);
    const auto passed_over = [&](const Part& p) {
        return p.form == Form::delta && (p.stored * small_difference < p.size || depth(parts_, p) >= deepest);
    };
    while (part != parts_.end() && passed_over(part->second)) part = parts_.find(part->second.prefix);
    if (part == parts_.end()) return std::nullopt;
    return part->second;
}

void Staging::hand_over(Job job) {
    const std::size_t bytes = job.content.view().size();
    {
        const std::lock_guard lock(guard_);
        ++busy_;
        if (reading_ < 2 && (waiting_.empty() || waiting_bytes_ + bytes <= most_waiting_bytes)) {
            waiting_bytes_ += bytes;
            waiting_.push_back(std::move(job));
            handed_.notify_one();
            return;
        }
    }
    work(job);
}

void Staging::help() {
    for (;;) {
        Job job;
        {
            std::unique_lock lock(guard_);
            handed_.wait(lock, [&] { return closing_ || !waiting_.empty(); });
            if (closing_) return;
            job = std::move(waiting_.front());
            waiting_.pop_front();
            waiting_bytes_ -= job.content.view().size();
        }
        work(job);
    }
}

void Staging::work(Job& job) {
    const bool large = job.content.view().size() > large_part;
    if (large) large_.acquire();
    auto bench = this->bench();
    const Status done = store_part(job, *bench);
    give_back(std::move(bench));
    if (large) large_.release();
    const std::lock_guard lock(guard_);
    if (!done && !error_) error_ = done.error();
    if (job.content.capacity() > 0 && job.content.capacity() <= largest_kept && buffers_.size() < buffers_kept)
        buffers_.push_back(std::move(job.content));
    if (--busy_ == 0 || error_) idle_.notify_all();
}

// Is the content on the shelf and whole? With its bytes at hand they are compared with these, else its digest is taken.
// When it is there but damaged, `mends` says which content it is.
Result<bool> Staging::there_and_whole(const std::string& sha256, std::optional<ByteView> content, Bench& bench,
                                      std::int64_t& mends) {
    if (not_there_.contains(sha256)) return false;
    Parts parts;
    {
        const std::lock_guard lock(catalogue_guard_);
        auto known = store_.catalogue.content(sha256);
        if (!known) return pass(known);
        if (!*known) return false;
        mends = (*known)->id;
        auto its = store_.catalogue.parts_of(mends);
        if (!its) return pass(its);
        parts = std::move(*its);
    }
    std::map<int, const Part*> in_order;
    for (const auto& [id, part] : parts)
        if (part.content == mends) in_order[part.seq] = &part;
    Sha256Stream sha;
    std::uint64_t size = 0;
    for (const auto& [seq, part] : in_order) {
        const Loaded got = reader_.load(parts, *part, bench);
        if (got.culprit != 0) return false;
        size += got.bytes.size();
        if (content) {
            if (!std::equal(got.bytes.begin(), got.bytes.end(), content->begin(), content->end())) return false;
        } else {
            sha.update(got.bytes);
        }
    }
    return content ? size == content->size() : hex(sha.finish()) == sha256;
}

Status Staging::store_part(Job& job, Bench& bench) {
    const ByteView content = job.content.view();
    Whole& whole = *job.whole;
    if (followed_.valid())
        if (const Status& followed = followed_.get(); !followed) return followed;
    if (job.in_one) {
        auto there = there_and_whole(whole.sha256, content, bench, whole.mends);
        if (!there) return pass(there);
        whole.there = *there;
        if (*there) return {};
    }
    // A mended part rests on nothing: it may itself be what its predecessor rests on.
    Loaded prefix;
    std::int64_t rests_on = 0;
    if (const auto before = prefix_for(job.path, job.seq); before && whole.mends == 0) {
        prefix = reader_.load(parts_, *before, bench);
        if (prefix.culprit == 0) rests_on = before->id;  // a damaged one is no ground to build on
    }
    RecordHead head;
    head.form = bench.press.squeeze(content, rests_on ? std::optional(prefix.bytes) : std::nullopt, bench.out);
    head.size = static_cast<std::uint32_t>(content.size());
    head.content_check = quick_check(content);
    if (head.form == Form::delta) head.prefix_check = prefix.check;
    auto part = writer_.append(head, bench.out.span());
    if (!part) return pass(part);
    part->prefix = head.form == Form::delta ? rests_on : 0;
    const std::lock_guard lock(guard_);
    const auto at = static_cast<std::size_t>(job.seq);
    if (whole.parts.size() <= at) whole.parts.resize(at + 1);
    whole.parts[at] = *part;
    return {};
}

}  // namespace fettle::shelf
