#include "fettle/standin/maker.h"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/standin/write_index.h"

namespace fettle::standin {

namespace fs = std::filesystem;

namespace {

// Content that cannot be guessed from its neighbours and is the same everywhere: SHA-256 of a counter, in blocks.
class Content {
public:
    Content(const PieceSpec& p, std::uint64_t seed)
        : label_(fmt::format("{}|{}|{}|{}|", seed, p.box, p.name, p.version)), left_(p.bytes) {}
    // The next block of at most 1 MiB; empty at the end.
    Bytes next() {
        Bytes out;
        const auto want = static_cast<std::size_t>(std::min<std::uint64_t>(left_, 1u << 20));
        out.reserve(want + 32);
        while (out.size() < want) {
            if (fresh_ == 0) {  // one digest starts a cheap generator for the next 4 KiB
                const Sha256 d = sha256(as_bytes(label_ + std::to_string(block_++)));
                state_ = load_le64(d, 0) | 1;
                fresh_ = 512;
            }
            state_ ^= state_ << 13;
            state_ ^= state_ >> 7;
            state_ ^= state_ << 17;
            --fresh_;
            for (unsigned i = 0; i < 8; ++i) out.push_back(static_cast<Byte>(state_ >> (8 * i)));
        }
        out.resize(want);
        left_ -= want;
        return out;
    }

private:
    std::string label_;
    std::uint64_t left_, block_ = 0, state_ = 0;
    int fresh_ = 0;
};

Status write_piece(const PieceSpec& p, std::uint64_t seed, const fs::path& file, std::string& digest) {
    if (auto made = make_folder(file.parent_path()); !made) return made;
    std::ofstream out(file, std::ios::binary | std::ios::trunc);
    Sha256Stream stream;
    Content content(p, seed);
    for (Bytes b = content.next(); !b.empty(); b = content.next()) {
        stream.update(b);
        out.write(reinterpret_cast<const char*>(b.data()), static_cast<std::streamsize>(b.size()));
    }
    out.close();
    if (!out)
        return outside_error("file-write-failed", file.string(), "it could not be written",
                             "check free space and rights of the folder");
    digest = hex(stream.finish());
    return {};
}

// As its index tells it; what that form of index cannot say of sizes, the maker knows.
Result<family::Release> described_by(const family::Family& f, const ReleaseSpec& spec, const std::string& index) {
    auto release = family::read_index(f, index);
    if (!release) return release;
    family::fill_sizes(*release, [&](const std::string& path) -> std::optional<std::uint64_t> {
        for (const auto& p : spec.pieces)
            if (path_of(*f.package, p) == path) return p.bytes;
        return std::nullopt;
    });
    return release;
}

}  // namespace

Result<family::Release> make_package(const family::Family& f, const ReleaseSpec& spec, std::uint64_t seed,
                                     const fs::path& folder) {
    if (auto ok = can_be_made(f); !ok) return pass(ok);
    std::error_code error;
    if (fs::exists(folder, error) && !fs::is_empty(folder, error))
        return bad_input("folder-not-empty", folder.string(), "there is something in it already", "name a new folder");
    if (auto made = make_folder(folder); !made) return pass(made);
    std::map<std::string, std::string> digests;
    for (const auto& p : spec.pieces)
        if (auto ok = write_piece(p, seed, folder / path_of(*f.package, p), digests[path_of(*f.package, p)]); !ok)
            return pass(ok);
    const std::string text = index_text(f, spec, digests);
    if (const Bytes signature = index_signature(*f.package, text); !signature.empty())
        if (auto ok = write_file_durably(folder / f.package->signature_file, as_text(signature)); !ok) return pass(ok);
    if (auto ok = write_file_durably(folder / f.package->index, text); !ok) return pass(ok);
    return described_by(f, spec, text);
}

Result<family::Release> describe(const family::Family& f, const ReleaseSpec& spec, std::uint64_t seed) {
    if (auto ok = can_be_made(f); !ok) return pass(ok);
    std::map<std::string, std::string> digests;
    for (const auto& p : spec.pieces) {
        Sha256Stream stream;
        Content content(p, seed);
        for (Bytes b = content.next(); !b.empty(); b = content.next()) stream.update(b);
        digests[path_of(*f.package, p)] = hex(stream.finish());
    }
    return described_by(f, spec, index_text(f, spec, digests));
}

Result<std::vector<family::Release>> make_history(const family::Family& f, const std::vector<ReleaseSpec>& specs,
                                                  std::uint64_t seed, const fs::path& folder) {
    std::vector<family::Release> out;
    for (const auto& spec : specs) {
        auto r = make_package(f, spec, seed, folder / spec.release);
        if (!r) return pass(r);
        out.push_back(std::move(*r));
    }
    return out;
}

}  // namespace fettle::standin
