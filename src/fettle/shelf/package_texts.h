// The two small texts of a package that are held in memory: its index and the signature over it. Read, not believed.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "fettle/family/family.h"
#include "fettle/shelf/package.h"

namespace fettle::shelf {

inline constexpr std::size_t largest_index = 32u << 20;  // a parsed text takes many times its size
inline constexpr std::size_t largest_signature = 64u << 10;

struct Texts {
    std::optional<std::string> index, signature;  // nullopt: not there
};

// One small file whole; bad_input "index-too-large" beyond `limit`.
Status read_whole(const Read& read, std::size_t limit, const std::string& path, std::string& out);

// In one visit; the index must be among the members.
Result<Texts> texts_of_package(Package& package, const family::PackageRule& rule);

// The index alone: the file itself, or the folder in which it stands; its signature beside it, if there is one.
Result<Texts> texts_of_index(const std::filesystem::path& path, const family::PackageRule& rule);

}  // namespace fettle::shelf
