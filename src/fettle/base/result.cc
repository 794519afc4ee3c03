#include "fettle/base/result.h"

namespace fettle {

std::string Error::message(const std::function<std::string(const Proposal&)>& shown) const {
    std::string out;
    if (!place.empty()) out += place.words(shown) + ": ";
    out += problem;
    if (!out.empty() && out.back() != '.' && out.back() != '?') out += '.';
    if (!next.empty()) out += " Next: " + next.words(shown) + ".";
    return out;
}

namespace {
tl::unexpected<Error> make(ErrorKind kind, std::string&& code, Words&& place, std::string&& problem, Next&& next) {
    return tl::unexpected<Error>(Error{kind, std::move(code), std::move(place), std::move(problem), std::move(next)});
}
}  // namespace

tl::unexpected<Error> usage_error(std::string code, Words place, std::string problem, Next next) {
    return make(ErrorKind::usage, std::move(code), std::move(place), std::move(problem), std::move(next));
}
tl::unexpected<Error> bad_input(std::string code, Words place, std::string problem, Next next) {
    return make(ErrorKind::bad_input, std::move(code), std::move(place), std::move(problem), std::move(next));
}
tl::unexpected<Error> outside_error(std::string code, Words place, std::string problem, Next next) {
    return make(ErrorKind::outside, std::move(code), std::move(place), std::move(problem), std::move(next));
}

}  // namespace fettle
