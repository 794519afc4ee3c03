// Archives by libarchive: zip and 7z, which are read by their own directory, and tar, plain or compressed, which has
// none and is gone through from front to back. Only the asked-for formats are switched on: whatever else libarchive
// reads is not a package.
#include <archive.h>
#include <archive_entry.h>
#include <fcntl.h>
#include <fmt/core.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <fstream>
#include <map>
#include <memory>
#include <system_error>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"
#include "fettle/shelf/package.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t most_members = 100'000;
constexpr std::size_t most_kept = 32u << 20;
// Firmware that holds empty space shrinks a lot, but not so much over a whole package.
constexpr std::uint64_t bomb_from_bytes = 1ull << 30, bomb_ratio = 250;
// What unpacking itself may hold in memory: dictionaries of 7z and xz are as large as the archive asks for.
constexpr std::uint64_t most_memory = 400ull << 20, memory_every = 32ull << 20;

struct CloseArchive {
    void operator()(archive* a) const { archive_read_free(a); }
};
using Handle = std::unique_ptr<archive, CloseArchive>;

std::uint64_t resident_bytes() {
    std::ifstream in("/proc/self/statm");
    std::uint64_t whole = 0, resident = 0;
    in >> whole >> resident;
    return resident * static_cast<std::uint64_t>(::sysconf(_SC_PAGESIZE));
}

class Archive {
public:
    Archive(fs::path path, std::string kind) : path_(std::move(path)), kind_(std::move(kind)) {}

    Status open() {
        handle_.reset(archive_read_new());
        if (!handle_) throw std::bad_alloc();
        archive* a = handle_.get();
        if (kind_ == "zip") {
            archive_read_support_format_zip_seekable(a);
        } else if (kind_ == "7z") {
            archive_read_support_format_7zip(a);
        } else {
            archive_read_support_format_tar(a);
            archive_read_support_filter_gzip(a);
            archive_read_support_filter_bzip2(a);
            archive_read_support_filter_xz(a);
            archive_read_support_filter_zstd(a);
        }
        memory_before_ = resident_bytes();
        if (archive_read_open_filename(a, path_.c_str(), 1 << 20) != ARCHIVE_OK) return broken();
        return {};
    }

    // Steps to the next entry; false at the end. A warning is an entry all the same (a name that could not be
    // converted).
    Result<bool> next() {
        for (;;) {
            const int r = archive_read_next_header(handle_.get(), &entry_);
            if (r == ARCHIVE_EOF) return false;
            if (r == ARCHIVE_OK || r == ARCHIVE_WARN) return true;
            if (r != ARCHIVE_RETRY) return broken();
        }
    }

    Result<std::size_t> read(ByteSpan into) {
        for (;;) {
            const la_ssize_t n = archive_read_data(handle_.get(), into.data(), into.size());
            if (n >= 0) {
                since_look_ += static_cast<std::uint64_t>(n);
                if (since_look_ < memory_every) return static_cast<std::size_t>(n);
                since_look_ = 0;
                if (resident_bytes() < memory_before_ + most_memory) return static_cast<std::size_t>(n);
                return bad_input(
                    "archive-memory", path_.string(),
                    fmt::format("the {} archive asks for more than {} to be unpacked", kind_, human_bytes(most_memory)),
                    "unpack it yourself and name the folder");
            }
            if (n != ARCHIVE_RETRY) return broken();
        }
    }

    Member member() const;

private:
    tl::unexpected<Error> broken() {
        const char* said = archive_error_string(handle_.get());
        const std::string why = said ? printable(said) : "no reason given";
        if (why.find("runcated") != std::string::npos || why.find("end of file") != std::string::npos)
            return bad_input("archive-cut", path_.string(),
                             fmt::format("the {} archive breaks off: a download that was cut off ({})", kind_, why),
                             "get the package again from its source");
        if (why.find("ncrypt") != std::string::npos || why.find("assphrase") != std::string::npos)
            return bad_input("archive-encrypted", path_.string(),
                             fmt::format("the {} archive is encrypted and cannot be looked at", kind_),
                             "unpack it with its password and name the folder");
        return bad_input("archive-damaged", path_.string(),
                         fmt::format("the {} archive cannot be read to its end ({})", kind_, why),
                         "get the package again from its source");
    }

    fs::path path_;
    std::string kind_;
    Handle handle_;
    archive_entry* entry_ = nullptr;
    std::uint64_t memory_before_ = 0, since_look_ = 0;
};

Member Archive::member() const {
    archive_entry* e = entry_;
    Member m;
    const char* name = archive_entry_pathname_utf8(e);
    if (!name) name = archive_entry_pathname(e);
    m.path = name ? name : "\xFF";  // a name that is no text in any way: refused as such
    // `tar -c .` writes its names so; what follows is judged like any other name.
    if (m.path.starts_with("./") && m.path.size() > 2) m.path.erase(0, 2);
    const auto type = archive_entry_filetype(e);
    if (archive_entry_symlink(e) || archive_entry_hardlink(e) || type == AE_IFLNK)
        m.kind = MemberKind::link;
    else if (type == AE_IFDIR)
        m.kind = MemberKind::folder;
    else if (type != AE_IFREG && type != 0)
        m.kind = MemberKind::device;
    else if (archive_entry_is_encrypted(e))
        m.kind = MemberKind::encrypted;
    if (m.kind == MemberKind::folder)
        while (m.path.size() > 1 && m.path.ends_with('/')) m.path.pop_back();
    if (archive_entry_size_is_set(e))
        m.size = static_cast<std::uint64_t>(std::max<la_int64_t>(0, archive_entry_size(e)));
    return m;
}

// Which file stands under a name, and when it was last written to.
struct FileState {
    dev_t device = 0;
    ino_t number = 0;
    off_t size = 0;
    std::int64_t written_ns = 0, changed_ns = 0;
    bool operator==(const FileState&) const = default;
};

FileState state_of(const fs::path& path) {
    struct stat st{};
    if (::stat(path.c_str(), &st) != 0) return {};
    const auto ns = [](const timespec& t) { return std::int64_t{t.tv_sec} * 1'000'000'000 + t.tv_nsec; };
    return {st.st_dev, st.st_ino, st.st_size, ns(st.st_mtim), ns(st.st_ctim)};
}

class ArchivePackage final : public Package {
public:
    using Kept = std::map<std::size_t, Bytes>;  // by place among the members
    ArchivePackage(fs::path path, std::string kind, std::vector<Member> members, FileState state, Kept kept)
        : path_(std::move(path)),
          kind_(std::move(kind)),
          members_(std::move(members)),
          state_(state),
          kept_(std::move(kept)) {}

    const std::vector<Member>& members() const override { return members_; }

    Status visit(const std::vector<bool>& wanted, const Take& take) override {
        if (all_kept(wanted)) return visit_kept(wanted, take);
        Archive a(path_, kind_);
        if (auto ok = a.open(); !ok) return ok;
        const auto last = std::find(wanted.rbegin(), wanted.rend(), true);
        const auto end = static_cast<std::size_t>(wanted.rend() - last);  // nothing behind it is wanted
        for (std::size_t i = 0; i < end;) {
            auto more = a.next();
            if (!more) return pass(more);
            const Member m = *more ? a.member() : Member{};
            if (*more && is_root(m)) continue;
            if (!*more || m.path != members_[i].path) return changed();
            if (wanted[i])
                if (auto ok = take(i, [&](ByteSpan into) { return a.read(into); }); !ok) return ok;
            ++i;
        }
        return {};
    }

    Result<std::optional<std::string>> sha256() const override {
        auto digest = sha256_hex_of_file(path_);
        if (!digest) return pass(digest);
        return std::optional<std::string>(std::move(*digest));
    }

    Status unchanged() const override {
        if (state_of(path_) == state_) return {};
        return changed();
    }

    // The folder that an archive was made of, as `tar -c .` and others write it.
    static bool is_root(const Member& m) { return m.kind == MemberKind::folder && (m.path == "." || m.path == "./"); }

private:
    bool all_kept(const std::vector<bool>& wanted) const {
        for (std::size_t i = 0; i < wanted.size(); ++i)
            if (wanted[i] && !kept_.contains(i)) return false;
        return true;
    }

    Status visit_kept(const std::vector<bool>& wanted, const Take& take) const {
        for (const auto& [i, bytes] : kept_) {
            if (!wanted[i]) continue;
            ByteView rest = bytes;
            auto ok = take(i, [&](ByteSpan into) -> Result<std::size_t> {
                const std::size_t n = std::min(into.size(), rest.size());
                std::copy_n(rest.begin(), n, into.begin());
                rest = rest.subspan(n);
                return n;
            });
            if (!ok) return ok;
        }
        return {};
    }

    tl::unexpected<Error> changed() const {
        return bad_input("package-changed", path_.string(), "is not what it was a moment ago",
                         "let nobody write to it while it is read, then try again");
    }

    fs::path path_;
    std::string kind_;
    std::vector<Member> members_;
    FileState state_;  // before its first byte was read
    Kept kept_;
};

// The entry's content, if it is no longer than `most`.
Result<std::optional<Bytes>> content_of(Archive& a, std::size_t most) {
    Bytes out;
    for (;;) {
        const std::size_t have = out.size();
        out.resize(have + (64u << 10));
        auto got = a.read(ByteSpan(out).subspan(have));
        if (!got) return pass(got);
        out.resize(have + *got);
        if (out.size() > most) return std::optional<Bytes>();
        if (*got == 0) return std::optional(std::move(out));
    }
}

}  // namespace

Result<std::unique_ptr<Package>> open_archive(const fs::path& path, const std::string& kind,
                                              const std::set<std::string>& keep) {
    const FileState state = state_of(path);
    Archive a(path, kind);
    if (auto ok = a.open(); !ok) return pass(ok);
    std::error_code ec;
    const std::uint64_t on_disk = std::max<std::uint64_t>(1, fs::file_size(path, ec));
    std::vector<Member> members;
    ArchivePackage::Kept kept;
    std::uint64_t claimed = 0;
    std::size_t may_keep = most_kept;
    for (;;) {
        auto more = a.next();
        if (!more) return pass(more);
        if (!*more) break;
        Member m = a.member();
        if (ArchivePackage::is_root(m)) continue;
        if (members.size() >= most_members)
            return bad_input("package-too-many", path.string(), "holds more than 100,000 files and folders",
                             "name the archive of one release");
        // By what is claimed, before any of it is unpacked.
        claimed = m.size > UINT64_MAX - claimed ? UINT64_MAX : claimed + m.size;
        if (claimed > bomb_from_bytes && claimed / bomb_ratio > on_disk)
            return bad_input("archive-bomb", path.string(),
                             fmt::format("would unpack {} to {} or more: over {} times its size", human_bytes(on_disk),
                                         human_bytes(claimed), bomb_ratio),
                             "do not use it; get the package from the maker");
        if (m.kind == MemberKind::file && keep.contains(m.path)) {
            auto content = content_of(a, may_keep);
            if (!content) return pass(content);
            if (*content) {
                may_keep -= (*content)->size();
                kept.emplace(members.size(), std::move(**content));
            }
        }
        members.push_back(std::move(m));
    }
    return std::make_unique<ArchivePackage>(path, kind, std::move(members), state, std::move(kept));
}

}  // namespace fettle::shelf
