#include "terminal.h"

#include <fmt/core.h>
#include <unistd.h>

#include <cstdio>

namespace fettle::app {

bool on_terminal(const Context& context) {
    return !context.json && ::isatty(STDOUT_FILENO) == 1;
}

bool asks_person(const Context& context) {
    return on_terminal(context) && ::isatty(STDIN_FILENO) == 1;
}

std::optional<std::string> line_from_person() {
    std::string out;
    for (int c = std::getchar(); c != EOF; c = std::getchar()) {
        if (c == '\n') return out;
        if (out.size() < 200) out += static_cast<char>(c);
    }
    return std::nullopt;
}

std::string Frame::drawn(const std::vector<std::string>& lines) {
    std::string out = drawn_ > 0 ? fmt::format("\033[{}A\r", drawn_) : "";
    for (const std::string& line : lines) out += line + "\033[K\n";
    drawn_ = lines.size();
    return out + "\033[J";
}

std::string Frame::cleared() {
    std::string out = drawn_ > 0 ? fmt::format("\033[{}A\r\033[J", drawn_) : "";
    drawn_ = 0;
    return out;
}

}  // namespace fettle::app
