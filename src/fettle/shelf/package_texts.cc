#include "fettle/shelf/package_texts.h"

#include <fmt/core.h>

#include <system_error>

#include "fettle/base/files.h"
#include "fettle/base/text.h"

namespace fettle::shelf {
namespace fs = std::filesystem;

Status read_whole(const Read& read, std::size_t limit, const std::string& path, std::string& out) {
    Bytes block(1 << 16);
    for (;;) {
        auto got = read(block);
        if (!got) return pass(got);
        if (*got == 0) return {};
        if (out.size() + *got > limit)
            return bad_input("index-too-large", path, fmt::format("is larger than {}", human_bytes(limit)),
                             "check that this is a package of this family");
        out += as_text(ByteView(block).first(*got));
    }
}

Result<Texts> texts_of_package(Package& package, const family::PackageRule& rule) {
    Texts texts;
    std::vector<bool> wanted;
    for (const Member& m : package.members())
        wanted.push_back(m.kind == MemberKind::file &&
                         (m.path == rule.index || (!rule.signature_file.empty() && m.path == rule.signature_file)));
    std::string index, signature;
    bool has_signature = false;
    auto done = package.visit(wanted, [&](std::size_t i, const Read& read) {
        const bool is_index = package.members()[i].path == rule.index;
        if (!is_index) has_signature = true;
        return read_whole(read, is_index ? largest_index : largest_signature, package.members()[i].path,
                          is_index ? index : signature);
    });
    if (!done) return pass(done);
    texts.index = std::move(index);
    if (has_signature) texts.signature = std::move(signature);
    return texts;
}

Result<Texts> texts_of_index(const fs::path& path, const family::PackageRule& rule) {
    Texts texts;
    std::error_code ec;
    const bool folder = fs::is_directory(path, ec);
    const fs::path index_file = folder ? path / rule.index : path;
    auto index = read_text_file(index_file, largest_index);
    if (!index) return pass(index);
    texts.index = std::move(*index);
    if (rule.signature_file.empty()) return texts;
    const fs::path signature_file =
        folder ? path / rule.signature_file : path.parent_path() / fs::path(rule.signature_file).filename();
    if (!fs::exists(signature_file, ec)) return texts;
    auto signature = read_text_file(signature_file, largest_signature);
    if (!signature) return pass(signature);
    texts.signature = std::move(*signature);
    return texts;
}

}  // namespace fettle::shelf
