#include "typed_list.h"

#include <fmt/core.h>

#include <iostream>

#include "fettle/base/files.h"
#include "fettle/base/text.h"

namespace fettle::app {
namespace {

constexpr std::size_t longest_list = std::size_t{4} << 20;

}  // namespace

Result<workshop::ListText> typed_list(const std::string& file) {
    if (file != "-") {
        auto read = read_text_file(file, longest_list);
        if (!read) return pass(read);
        return workshop::ListText{std::move(*read), file};
    }
    std::string text(longest_list + 1, '\0');
    std::cin.read(text.data(), static_cast<std::streamsize>(text.size()));
    text.resize(static_cast<std::size_t>(std::cin.gcount()));
    if (text.size() > longest_list)
        return bad_input("file-too-large", "typed list",
                         fmt::format("is larger than the {} bytes allowed here", longest_list),
                         "check that this is the right list");
    return workshop::ListText{std::move(text), "typed list"};
}

std::vector<std::string> words_between_commas(const std::string& typed) {
    std::vector<std::string> out;
    for (const std::string& word : split(typed, ','))
        if (!trim(word).empty()) out.emplace_back(trim(word));
    return out;
}

}  // namespace fettle::app
