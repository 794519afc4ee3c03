// A package as it was brought: a folder or an archive, read as a stream and never unpacked. Says what is in it;
// judges nothing but whether it can be read at all.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::shelf {

enum class MemberKind { file, folder, link, device, encrypted };

struct Member {
    std::string path;  // '/' between folders, no '/' at the end; as it stands in the package, also if it is unsafe
    MemberKind kind = MemberKind::file;
    std::uint64_t size = 0;  // as the package claims
};

// The next bytes of one file; 0 at its end. bad_input when the package is damaged there.
using Read = std::function<Result<std::size_t>(ByteSpan)>;
// Takes one file; need not read to the end. An error stops the visit and is passed on.
using Take = std::function<Status(std::size_t member, const Read& read)>;

class Package {
public:
    virtual ~Package() = default;

    // In the package's own order. bad_input "package-too-many" beyond 100,000.
    virtual const std::vector<Member>& members() const = 0;

    // Calls `take` once for each wanted file, from up to two threads when the package is a folder. bad_input
    // "archive-damaged" when the archive breaks off or does not match its own directory.
    virtual Status visit(const std::vector<bool>& wanted, const Take& take) = 0;

    // An archive's digest is over its bytes; a folder has none of its own (nullopt): it follows from its files.
    virtual Result<std::optional<std::string>> sha256() const = 0;

    // bad_input "package-changed" when an archive's file is another one, or was written to, since it was opened: then
    // its digest and what was read from it may be of two different archives. A folder's files answer each for
    // themselves.
    virtual Status unchanged() const = 0;
};

// bad_input says what the thing is when it is neither a folder nor a whole archive: "package-missing",
// "package-empty", "package-web-page", "package-not-archive", "archive-cut", "archive-damaged", "archive-encrypted",
// "archive-bomb", "archive-memory", "package-too-many". `keep`: names of files that will be asked for first; an archive
// that is gone through to be listed keeps them meanwhile, up to 32 MiB together, so that it need not be gone through
// again for them.
Result<std::unique_ptr<Package>> open_package(const std::filesystem::path& path,
                                              const std::set<std::string>& keep = {});

// The parts, for tests.
Result<std::unique_ptr<Package>> open_folder(const std::filesystem::path& path);
// kind: "zip", "7z", "tar", "tar.gz", "tar.bz2", "tar.xz", "tar.zst". A compressed tar is unpacked once, into nothing,
// to list it, and once for each visit that wants more than was kept, up to the last file that is wanted.
Result<std::unique_ptr<Package>> open_archive(const std::filesystem::path& path, const std::string& kind,
                                              const std::set<std::string>& keep = {});

}  // namespace fettle::shelf
