// One package from its first byte to a verdict. Its members are looked at before any is read, its index before any
// piece, its signature before anything that the index says is believed; what is read is digested and compressed on the
// way, so that nothing is read twice. Findings are gathered, so that one refusal tells all of them.
#include "fettle/shelf/intake.h"

#include <fmt/core.h>

#include <algorithm>
#include <future>
#include <mutex>
#include <optional>
#include <set>
#include <system_error>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/shelf/package_texts.h"
#include "fettle/shelf/vet.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

Reason halt(std::string code, std::string where, std::string text, std::string rests_on) {
    return {std::move(code), Verdict::halt, std::move(text), printable(where), std::move(rests_on)};
}

// What is wrong with the package is a finding; what is wrong with the machine stays an error.
bool as_finding(const Error& e, Judgement& j) {
    if (e.kind != ErrorKind::bad_input) return false;
    j.add(halt(e.code, e.place.words(), e.problem + "; " + e.next.words(), "package"));
    return true;
}

// Over the index, before anything it says is believed. An index alone lays nothing: there a missing signature is a
// mind.
void vet_signature(const family::PackageRule& rule, const Texts& texts, bool index_only, UnixMs now, Vetting& v) {
    family::PackageRule r = rule;
    if (index_only) r.unsigned_refused = false;
    const family::SignatureCheck check = family::check_signature(r, *texts.index, texts.signature, now);
    v.signature = check.state;
    for (const Reason& reason : check.reasons) v.judgement.add(reason);
}

std::vector<std::string> known_digests(const family::PieceFile& f) {
    std::vector<std::string> out;
    for (const auto& [name, digest] : f.digests)
        if (DigestStream::make(name)) out.push_back(name);
    return out;
}

// A finding's code and place once, the first time it is said.
void without_repeats(Judgement& j) {
    std::set<std::pair<std::string, std::string>> said;
    std::vector<Reason> kept;
    for (Reason& r : j.reasons)
        if (said.emplace(r.code, r.where).second) kept.push_back(std::move(r));
    j.reasons = std::move(kept);
}

Result<CataloguedFile> stage_text(Staging& staging, const std::string& path, const std::string& text) {
    std::string_view rest = text;
    const Read read = [&](ByteSpan into) -> Result<std::size_t> {
        const std::size_t n = std::min(into.size(), rest.size());
        std::copy_n(as_bytes(rest).begin(), n, into.begin());
        rest.remove_prefix(n);
        return n;
    };
    auto stored = staging.put(path, read, text.size(), {}, true);
    if (!stored) return pass(stored);
    return CataloguedFile{path, stored->size, stored->sha256};
}

// The one reading of the content: digests on the way, bytes into staging unless it is refused already.
class Reading {
public:
    Reading(Package& package, const family::Release& release, const Progress& progress)
        : package_(package), listed_(listed_files(release)), progress_(progress) {
        for (const Member& m : package.members()) {
            const bool wanted = m.kind == MemberKind::file && listed_.contains(m.path);
            wanted_.push_back(wanted);
            if (wanted) total_ += listed_.at(m.path).size;
        }
        found_.resize(wanted_.size());
    }

    // Findings go to `j`; the files read, by path, to `files`.
    Status run(Staging& staging, bool keep, Judgement& j, std::map<std::string, CataloguedFile>& files) {
        Error bomb;
        auto done = package_.visit(wanted_, [&](std::size_t i, const Read& read) -> Status {
            const family::PieceFile& listed = listed_.at(package_.members()[i].path);
            auto stored = staging.put(listed.path, counted(read), listed.size, known_digests(listed), keep);
            if (!stored) return pass(stored);
            found_[i] = std::move(*stored);
            if (!found_[i]->longer) return {};
            return bad_input("size-bomb", listed.path, "", "");  // stops the visit; said below
        });
        for (std::size_t i = 0; i < found_.size(); ++i) {
            if (!found_[i]) continue;
            const Stored& s = *found_[i];
            const std::string& path = package_.members()[i].path;
            j.add(vet_content(listed_.at(path), {s.size, s.longer, s.digests}));
            files[path] = {path, s.size, s.sha256};
        }
        if (!done && done.error().code != "size-bomb" && !as_finding(done.error(), j)) return done;
        return {};
    }

private:
    Read counted(const Read& read) {
        return [this, &read](ByteSpan into) -> Result<std::size_t> {
            auto got = read(into);
            if (got && progress_) {
                const std::lock_guard lock(guard_);
                done_ += *got;
                progress_("vetting", done_, total_);
            }
            return got;
        };
    }

    Package& package_;
    const std::map<std::string, family::PieceFile> listed_;
    const Progress& progress_;
    std::vector<bool> wanted_;
    std::uint64_t total_ = 0;
    std::vector<std::optional<Stored>> found_;  // each written by the one thread that reads that file
    std::mutex guard_;
    std::uint64_t done_ = 0;  // guarded by guard_
};

// Index and signature kept, the rest of the vetting still to be done.
Status begin(const family::Family& family, const Texts& texts, const AddRequest& request, UnixMs now, Intake& in) {
    Vetting& v = in.vetting;
    Vetting signature_only;
    vet_signature(*family.package, texts, request.index_only, now, signature_only);
    v.signature = signature_only.signature;
    const bool believed = signature_only.judgement.verdict() != Verdict::halt;
    v.judgement.add(std::move(signature_only.judgement));
    if (!believed) return {};
    auto release = family::read_index(family, *texts.index);
    if (!release) {
        as_finding(release.error(), v.judgement);
        return {};
    }
    in.release = std::move(*release);
    in.staging->follow(family.order, family.id, in.release);
    v.judgement.add(vet_claims(family, in.release));
    auto index = stage_text(*in.staging, family.package->index, *texts.index);
    if (!index) return pass(index);
    in.files.push_back(std::move(*index));
    if (!texts.signature) return {};
    auto signature = stage_text(*in.staging, family.package->signature_file, *texts.signature);
    if (!signature) return pass(signature);
    in.files.push_back(std::move(*signature));
    return {};
}

bool halted(const Intake& in) {
    return in.vetting.judgement.verdict() == Verdict::halt;
}

Result<Intake> vetted_and_read(const family::Family& family, const AddRequest& request, const Store& store, UnixMs now,
                               const Progress& progress) {
    if (!family.package || family.package->index.empty())
        return bad_input("family-no-package", family.id,
                         "its family file does not say how the maker's packages are read",
                         "add a [package] section to the family file (docs/family-file.md)");
    auto staging = Staging::make(store);
    if (!staging) return pass(staging);
    Intake in;
    in.staging = std::move(*staging);
    Judgement& j = in.vetting.judgement;

    if (request.index_only) {
        auto texts = texts_of_index(request.package, *family.package);
        if (!texts) {
            if (as_finding(texts.error(), j)) return in;
            return pass(texts);
        }
        if (auto ok = begin(family, *texts, request, now, in); !ok) return pass(ok);
        if (!halted(in))
            j.add({"index-only", Verdict::mind,
                   "only the index is here: it tells what a box holds that shows this "
                   "release, but nothing can be laid from it",
                   family.package->index, "typed"});
    } else {
        std::shared_ptr<Package> package = request.opened;
        if (!package) {
            auto opened = open_for({family}, request.package);
            if (!opened && as_finding(opened.error(), j)) return in;
            if (!opened) return pass(opened);
            package = std::move(*opened);
        }
        const auto& members = package->members();
        // The names are looked at while the index is read; what is said of them comes first.
        auto names = std::async(std::launch::async, [&] { return vet_members(members, family.package->index); });
        const auto with_names = [&] {
            Judgement all = names.get();
            all.add(std::move(j));
            j = std::move(all);
        };
        const bool has_index = std::any_of(members.begin(), members.end(), [&](const Member& m) {
            return m.kind == MemberKind::file && m.path == family.package->index;
        });
        if (!has_index) {
            with_names();
            return in;
        }
        auto texts = texts_of_package(*package, *family.package);
        if (!texts) {
            with_names();
            if (as_finding(texts.error(), j)) return in;
            return pass(texts);
        }
        if (auto ok = begin(family, *texts, request, now, in); !ok) return pass(ok);
        with_names();
        if (in.files.empty()) return in;  // the index was not believed or could not be read
        std::map<std::string, std::uint64_t> sizes;
        for (const Member& m : members)
            if (m.kind == MemberKind::file) sizes.emplace(m.path, m.size);
        family::fill_sizes(in.release, [&](const std::string& path) {
            const auto at = sizes.find(path);
            return at == sizes.end() ? std::nullopt : std::optional(at->second);
        });
        j.add(vet_files(family, in.release, members));

        auto archive_digest = std::async(std::launch::async, [&] { return package->sha256(); });
        Reading reading(*package, in.release, progress);
        const bool keep = !halted(in);
        std::map<std::string, CataloguedFile> found;
        if (auto ok = reading.run(*in.staging, keep, j, found); !ok) return pass(ok);
        std::set<std::string> taken;
        for (const family::Piece& p : in.release.pieces)
            for (const family::PieceFile& f : p.files)
                if (const auto at = found.find(f.path); at != found.end() && taken.insert(f.path).second)
                    in.files.push_back(at->second);
        auto digest = archive_digest.get();
        if (!digest) return pass(digest);
        if (*digest) in.package_sha256 = **digest;
        if (auto ok = package->unchanged(); !ok) as_finding(ok.error(), j);
        if (!halted(in))
            j.add({"content-whole", Verdict::fit,
                   fmt::format("all {} files of the index are there, nothing else, and each is what the index says",
                               taken.size()),
                   request.package.filename().string(), "digests of the index"});
    }
    in.content_sha256 = digest_of_lines(in.files);
    if (in.package_sha256.empty()) in.package_sha256 = in.content_sha256;
    in.vetting.files = in.files.size();
    for (const CataloguedFile& f : in.files) in.vetting.bytes += f.size;
    without_repeats(j);
    return in;
}

}  // namespace

Result<Intake> take_in(const family::Family& family, const AddRequest& request, const Store& store, UnixMs now,
                       const Progress& progress) {
    auto in = vetted_and_read(family, request, store, now, progress);
    if (in && halted(*in)) in->staging->stop();  // the refusal is noted in the catalogue: nobody else asks it then
    return in;
}

}  // namespace fettle::shelf
