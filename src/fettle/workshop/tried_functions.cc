#include "fettle/workshop/tried_functions.h"

#include <fmt/core.h>

#include <charconv>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::workshop {
namespace {

std::string key_of(const book::Job& job, const std::string& words) {
    return fmt::format("tried.{}.{}", job.runs.size(), words);
}

}  // namespace

std::optional<bool> tried_and_good(const book::Job& job, const std::string& words) {
    const auto it = job.answers.find(key_of(job, words));
    if (it == job.answers.end()) return std::nullopt;
    return it->second == "good";
}

Result<std::vector<std::string>> functions_by_number(const family::Family& family,
                                                     const std::vector<std::string>& given) {
    std::vector<std::string> out;
    for (const std::string& list : given) {
        for (const std::string& text : split(list, ',')) {
            std::size_t n = 0;
            const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), n);
            if (error != std::errc() || end != text.data() + text.size() || n < 1 || n > family.trials.size())
                return usage_error("function-unknown", printable(text), "no function of this family has this number",
                                   fmt::format("give a number from 1 to {}", family.trials.size()));
            out.push_back(family.trials[n - 1].words);
        }
    }
    return out;
}

NewEntry tried(book::Job& job, const std::string& words, bool good) {
    const std::string key = key_of(job, words), value = good ? "good" : "bad";
    job.answers[key] = value;
    return {"answered", {{"key", key}, {"value", value}}};
}

}  // namespace fettle::workshop
