// Real cards on the command line: which device is meant, what would be lost, and whether somebody agrees to that.
#pragma once

#include <boost/json/object.hpp>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/card/lay_device.h"

namespace fettle::app {

// True when the path leads to a block device (also by a link such as those under /dev/disk).
bool is_block_device(const std::string& path);

// The device a path stands for, as the system describes it. bad_input `device-not-known` when it is none.
Result<card::FoundDevice> device_named(const std::string& path);

// Shows the device and what is on it, and goes on only if somebody agrees to lose that: `yes_erase` holds its whole
// serial, or a person at a terminal types at least its last four characters. Usage errors `erase-not-agreed`,
// `erase-serial-differs`. `why`: what it will be erased for, "to lay 27.3.118".
Status agree_to_erase(const Context& context, const card::FoundDevice& device, const Judgement& known,
                      const std::vector<std::string>& on_it, const std::string& yes_erase, const std::string& why);

// Asks at the terminal; nothing where there is none.
std::string ask_at_terminal(const Context& context, const std::string& question);

boost::json::object as_json(const card::FoundDevice& device);
std::string page_of(const card::FoundDevice& device, const std::vector<std::string>& on_it);

}  // namespace fettle::app
