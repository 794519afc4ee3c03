// The terminal as a person sees it: whether one is there, a line that is typed, a picture that stays in its place.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

// Standard output is a terminal, and the answer is for a person.
bool on_terminal(const Context& context);
// Somebody can be asked: they read the output and type.
bool asks_person(const Context& context);

// One line without its end, of at most 200 bytes; what is longer is read and left out. nullopt at the end of the input.
std::optional<std::string> line_from_person();

// Lines that are drawn over the last ones, each cleared to its end, so that nothing flickers.
class Frame {
public:
    std::string drawn(const std::vector<std::string>& lines);
    std::string cleared();
    bool stands() const { return drawn_ > 0; }
    void leave() { drawn_ = 0; }  // what stands there stays; the next lines come below

private:
    std::size_t drawn_ = 0;
};

}  // namespace fettle::app
