// Zip by libarchive's seeking reader, which goes by the archive's own directory at its end. That directory is asked for
// first: a download that was cut off has none, and is told apart from a damaged one.
#include <archive.h>
#include <archive_entry.h>
#include <fcntl.h>
#include <fmt/core.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <memory>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"
#include "fettle/shelf/package.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t most_members = 100'000;

struct CloseArchive {
    void operator()(archive* a) const { archive_read_free(a); }
};
using Archive = std::unique_ptr<archive, CloseArchive>;

tl::unexpected<Error> damaged(const fs::path& path, archive* a) {
    const char* said = a ? archive_error_string(a) : nullptr;
    return bad_input(
        "archive-damaged", path.string(),
        fmt::format("the zip archive cannot be read to its end ({})", said ? printable(said) : "no reason given"),
        "get the package again from its source");
}

Result<Archive> open_archive(const fs::path& path) {
    Archive a(archive_read_new());
    if (!a) throw std::bad_alloc();
    archive_read_support_format_zip_seekable(a.get());
    if (archive_read_open_filename(a.get(), path.c_str(), 1 << 20) != ARCHIVE_OK) return damaged(path, a.get());
    return a;
}

Member member_of(archive_entry* e) {
    Member m;
    const char* name = archive_entry_pathname_utf8(e);
    if (!name) name = archive_entry_pathname(e);
    m.path = name ? name : "";
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

// Steps to the next entry; false at the end. A warning is an entry all the same (a name that could not be converted).
Result<bool> next(archive* a, archive_entry** e, const fs::path& path) {
    for (;;) {
        const int r = archive_read_next_header(a, e);
        if (r == ARCHIVE_EOF) return false;
        if (r == ARCHIVE_OK || r == ARCHIVE_WARN) return true;
        if (r != ARCHIVE_RETRY) return damaged(path, a);
    }
}

class ZipPackage final : public Package {
public:
    ZipPackage(fs::path path, std::vector<Member> members) : path_(std::move(path)), members_(std::move(members)) {}

    const std::vector<Member>& members() const override { return members_; }

    Status visit(const std::vector<bool>& wanted, const Take& take) override {
        auto a = open_archive(path_);
        if (!a) return pass(a);
        archive_entry* e = nullptr;
        for (std::size_t i = 0; i < members_.size(); ++i) {
            auto more = next(a->get(), &e, path_);
            if (!more) return pass(more);
            if (!*more || member_of(e).path != members_[i].path)
                return bad_input("package-changed", path_.string(), "is not what it was a moment ago",
                                 "let nobody write to it while it is read, then try again");
            if (!wanted[i]) continue;
            const Status done = take(i, [&](ByteSpan into) -> Result<std::size_t> {
                for (;;) {
                    const la_ssize_t n = archive_read_data(a->get(), into.data(), into.size());
                    if (n >= 0) return static_cast<std::size_t>(n);
                    if (n != ARCHIVE_RETRY) return damaged(path_, a->get());
                }
            });
            if (!done) return done;
        }
        return {};
    }

    Result<std::optional<std::string>> sha256() const override {
        auto digest = sha256_hex_of_file(path_);
        if (!digest) return pass(digest);
        return std::optional<std::string>(std::move(*digest));
    }

private:
    fs::path path_;
    std::vector<Member> members_;
};

}  // namespace

Result<std::unique_ptr<Package>> open_zip(const fs::path& path) {
    auto a = open_archive(path);
    if (!a) return pass(a);
    std::vector<Member> members;
    archive_entry* e = nullptr;
    for (;;) {
        auto more = next(a->get(), &e, path);
        if (!more) return pass(more);
        if (!*more) break;
        if (members.size() >= most_members)
            return bad_input("package-too-many", path.string(), "holds more than 100,000 files and folders",
                             "name the archive of one release");
        members.push_back(member_of(e));
    }
    return std::make_unique<ZipPackage>(path, std::move(members));
}

}  // namespace fettle::shelf
