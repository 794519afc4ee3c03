// Reading and digesting, on the threads of whoever reads the package. Compressing: staging_work.cc.
#include "fettle/shelf/staging.h"

#include <algorithm>
#include <array>

#include "fettle/base/digest.h"
#include "fettle/shelf/staging_whole.h"

namespace fettle::shelf {
namespace {

constexpr std::size_t read_step = 256u << 10;  // small enough to be digested out of the cache

// The shelf's release whose pieces are likeliest to be like these: the same one (it is added again), else the nearest
// earlier one, else the nearest later one, else the one that came last.
const Outline* nearest(const family::VersionOrder& order, const std::string& release, const std::vector<Outline>& all) {
    const Outline *earlier = nullptr, *later = nullptr, *last = nullptr;
    for (const Outline& o : all) {
        if (o.index_only) continue;
        if (o.release.release == release) return &o;
        last = &o;
        const auto way = family::compare_versions(order, o.release.release, release);
        if (!way) continue;
        const Outline*& best = *way < 0 ? earlier : later;
        const auto nearer = best ? family::compare_versions(order, o.release.release, best->release.release) : *way;
        if (!best || (nearer && (*way < 0 ? *nearer > 0 : *nearer < 0))) best = &o;
    }
    return earlier ? earlier : later ? later : last;
}

// "box, piece, which of its files by number": the same in every release, while paths may carry its number.
std::map<std::string, std::string> by_piece(const std::vector<family::Piece>& pieces) {
    std::map<std::string, std::string> out;
    for (const family::Piece& p : pieces)
        for (std::size_t i = 0; i < p.files.size(); ++i)
            out.emplace(p.box + '\0' + p.name + '\0' + std::to_string(i), p.files[i].path);
    return out;
}

}  // namespace

Staging::Staging(const Store& store, FileLock work, std::unique_ptr<StagingFolder> folder)
    : store_(store),
      work_(std::move(work)),
      folder_(std::move(folder)),
      reader_(store.folder),
      writer_(store.disk, folder_->path()),
      helper_([this] { help(); }) {}

Result<std::unique_ptr<Staging>> Staging::make(const Store& store) {
    auto work = FileLock::share(work_lock(store.folder));
    if (!work) return pass(work);
    auto folder = StagingFolder::make(store);
    if (!folder) return pass(folder);
    return std::unique_ptr<Staging>(new Staging(store, std::move(*work), std::move(*folder)));
}

Staging::~Staging() {
    stop();
}

void Staging::stop() {
    {
        const std::lock_guard lock(guard_);
        closing_ = true;
        waiting_.clear();
    }
    handed_.notify_all();
    if (helper_.joinable()) helper_.join();
    if (followed_.valid()) followed_.wait();
}

void Staging::follow(const family::VersionOrder& order, const std::string& family, const family::Release& release) {
    Listed listed;
    for (const family::Piece& p : release.pieces)
        for (const family::PieceFile& f : p.files)
            if (const auto at = f.digests.find("sha256"); at != f.digests.end()) listed.push_back(at->second);
    followed_ =
        std::async(std::launch::async, [this, &order, family, name = release.release, listed = std::move(listed),
                                        pieces = by_piece(release.pieces)]() mutable {
            return find_predecessor(order, family, name, std::move(listed), pieces);
        }).share();
}

Status Staging::find_predecessor(const family::VersionOrder& order, const std::string& family,
                                 const std::string& release, Listed listed, const ByPiece& pieces) {
    const std::lock_guard lock(catalogue_guard_);
    auto there = store_.catalogue.which_are_there(listed);
    if (!there) return pass(there);
    for (std::string& digest : listed)
        if (!there->contains(digest)) not_there_.insert(std::move(digest));
    auto all = store_.catalogue.outlines(family, "");
    if (!all) return pass(all);
    const Outline* before = nearest(order, release, *all);
    if (!before) return {};
    auto known = store_.catalogue.known(family, before->release.release);
    if (!known) return pass(known);
    if (!*known) return {};
    auto shelved = store_.catalogue.list(family, before->release.release);
    if (!shelved) return pass(shelved);
    auto held = store_.catalogue.held_by(before->id);
    if (!held) return pass(held);
    std::map<std::string, const std::vector<std::int64_t>*> by_digest;
    for (const KeptContent& c : held->contents) by_digest[c.sha256] = &c.parts;
    std::map<std::string, const std::vector<std::int64_t>*> by_path;
    for (const CataloguedFile& f : (*known)->files)
        if (const auto at = by_digest.find(f.sha256); at != by_digest.end()) by_path[f.path] = at->second;
    for (const auto& [path, parts] : by_path) before_[path] = *parts;
    if (!shelved->empty()) {
        const auto theirs = by_piece(shelved->front().release.pieces);
        for (const auto& [key, path] : pieces) {
            const auto same = theirs.find(key);
            if (same == theirs.end()) continue;
            if (const auto at = by_path.find(same->second); at != by_path.end()) before_[path] = *at->second;
        }
    }
    parts_ = std::move(held->parts);
    return {};
}

Result<Stored> Staging::put(const std::string& path, const Read& read, std::uint64_t limit,
                            const std::vector<std::string>& digests, bool keep) {
    {
        const std::lock_guard lock(guard_);
        if (error_) return tl::unexpected<Error>(*error_);
        ++reading_;
    }
    auto stored = take(path, read, limit, digests, keep);
    const std::lock_guard lock(guard_);
    --reading_;
    return stored;
}

Result<Stored> Staging::take(const std::string& path, const Read& read, std::uint64_t limit,
                             const std::vector<std::string>& digests, bool keep) {
    std::map<std::string, DigestStream> streams;
    for (const std::string& name : digests) {
        if (name == "sha256") continue;  // taken anyway
        auto stream = DigestStream::make(name);
        if (!stream) return pass(stream);
        streams.emplace(name, std::move(*stream));
    }
    Sha256Stream sha;
    Stored stored;
    auto whole = std::make_shared<Whole>();
    Buffer content = buffer();
    const std::size_t room = static_cast<std::size_t>(std::min<std::uint64_t>(limit, part_limit));
    content.fit(keep ? room : std::min(room, read_step));
    std::array<Byte, 4096> beyond{};
    std::size_t have = 0;
    int seq = 0;
    for (;;) {
        const bool full = stored.size == limit;
        if (!full && have == content.view().size()) {
            if (keep) {
                hand_over({whole, seq, std::move(content), path, false});
                ++seq;
                content = buffer();
                content.fit(static_cast<std::size_t>(std::min<std::uint64_t>(limit - stored.size, part_limit)));
            }
            have = 0;
        }
        const ByteSpan into =
            full ? ByteSpan(beyond) : content.span().subspan(have, std::min(read_step, content.view().size() - have));
        auto got = read(into);
        if (!got) return pass(got);
        if (*got == 0) break;
        if (full) {
            stored.longer = true;
            return stored;
        }
        const ByteView bytes = ByteView(into).first(*got);
        sha.update(bytes);
        for (auto& [name, stream] : streams) stream.update(bytes);
        stored.size += *got;
        have += *got;
    }
    stored.sha256 = hex(sha.finish());
    for (const std::string& name : digests) {
        const auto at = streams.find(name);
        stored.digests[name] = at == streams.end() ? stored.sha256 : at->second.finish();
    }
    if (!keep) return stored;
    content.shrink(have);
    {
        const std::lock_guard lock(guard_);
        whole->sha256 = stored.sha256;
        whole->size = stored.size;
        whole->in_one = seq == 0;
        if (!claimed_.insert(stored.sha256).second) return stored;  // the same bytes under another name
        wholes_.push_back(whole);
    }
    if (have > 0) hand_over({whole, seq, std::move(content), path, seq == 0});
    return stored;
}

Status Staging::seal() {
    if (followed_.valid()) followed_.wait();
    {
        std::unique_lock lock(guard_);
        idle_.wait(lock, [&] { return (waiting_.empty() && busy_ == 0) || error_; });
        if (error_) return tl::unexpected<Error>(*error_);
    }
    auto bench = this->bench();
    for (const auto& whole : wholes_) {
        if (whole->there) continue;
        std::int64_t mends = whole->mends;
        if (!whole->in_one || whole->size == 0) {  // its digest was not known when its parts were written
            auto there = there_and_whole(whole->sha256, std::nullopt, *bench, mends);
            if (!there) return pass(there);
            if (*there) continue;
            if (mends != 0)
                if (auto ok = keep_what_is_whole(mends, *whole, *bench); !ok) return ok;
        }
        contents_[whole->sha256] = {whole->size, mends, whole->parts};
    }
    if (contents_.empty()) return {};
    return writer_.sync();
}

// A part is mended only if it is damaged. So no part comes to rest on itself: what it was built on could be read, and
// what rests on a damaged part cannot.
Status Staging::keep_what_is_whole(std::int64_t content, Whole& whole, Bench& bench) {
    auto parts = store_.catalogue.parts_of(content);
    if (!parts) return pass(parts);
    for (const auto& [id, part] : *parts) {
        const auto seq = static_cast<std::size_t>(part.seq);
        if (part.content != content || seq >= whole.parts.size()) continue;
        whole.parts[seq].keep = reader_.load(*parts, part, bench).culprit == 0;
    }
    return {};
}

Status Staging::publish() {
    std::vector<std::string> mine;
    for (const auto& [sha256, c] : contents_)
        if (c.mends == 0) mine.push_back(sha256);
    auto meanwhile = store_.catalogue.which_are_there(mine);
    if (!meanwhile) return pass(meanwhile);
    for (const std::string& sha256 : *meanwhile) contents_.erase(sha256);
    if (contents_.empty()) return {};
    auto first = store_.catalogue.free_pack();
    if (!first) return pass(first);
    std::vector<std::int64_t> ids;
    for (std::size_t i = 0; i < writer_.packs(); ++i) ids.push_back(*first + static_cast<std::int64_t>(i));
    pack_ids_ = std::move(ids);
    if (auto ok = writer_.publish(store_.folder, pack_ids_); !ok) return ok;
    return store_.disk.before_commit();
}

void Staging::withdraw() {
    for (const std::int64_t id : pack_ids_) store_.disk.remove(pack_path(store_.folder, id));
}

}  // namespace fettle::shelf
