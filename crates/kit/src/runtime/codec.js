
/* The code of so many bits after the first `offset` bits, most significant first. */
function codeAt(bytes, offset, bits) {
  var end = offset + bits, code = 0, take;
  while (offset < end) {
    take = Math.min(8 - offset % 8, end - offset);
    code = code * (1 << take) + ((bytes[offset >> 3] >> (8 - offset % 8 - take)) & ((1 << take) - 1));
    offset += take;
  }
  return code;
}

function putCode(bytes, offset, bits, code) {
  var bit;
  for (bit = offset + bits - 1; bit >= offset; bit -= 1) {
    bytes[bit >> 3] |= (code % 2) << (7 - bit % 8);
    code = Math.floor(code / 2);
  }
}

function allOnes(bits) {
  return Math.pow(2, bits) - 1;
}

function fail(text) {
  throw { reason: text };
}

/* What a code says: a state and a code that is a value. */
function readingOf(name, code, bits, last, saturates) {
  var ones = allOnes(bits);
  if (code <= last) { return { state: 'inside', code: code }; }
  if (code === ones) { return { state: 'absent', code: 0 }; }
  if (saturates && code === ones - 1) { return { state: 'above', code: last }; }
  if (saturates && code === ones - 2) { return { state: 'below', code: 0 }; }
  return fail(name + ' has the code ' + code + ', which means nothing');
}

/* Exact integers up to the one division, so the result is the nearest double. */
function valueOf(part, code) {
  return (code * part.scale[0] + part.scale[1]) / part.scale[2];
}

function modulo(number, by) {
  return number - Math.floor(number / by) * by;
}

function earlierOf(field, newest, difference) {
  var counts = field.kind === 'counter', last = field.last;
  var most = allOnes(field.earlier[1]) - 3;
  var code = newest.code + difference.code - (counts ? most : Math.floor(most / 2));
  var impossible = field.name + ' has an earlier reading that its newest one does not allow';
  if (difference.state === 'absent') { return difference; }
  if (newest.state === 'absent' || (counts && difference.state === 'above')) { fail(impossible); }
  if (counts) {
    code = modulo(code, last + 1);
  } else if (code < 0 || code > last) {
    if (difference.state === 'inside') { fail(impossible); }
    code = code < 0 ? 0 : last;
  }
  return { state: difference.state, code: code };
}

/* What people see, with a warning if it lay outside the range. */
function shown(field, part, reading, warnings) {
  var value;
  if (reading.state === 'absent') { return null; }
  if (field.kind === 'flag') { return reading.code === 1; }
  if (field.kind === 'choice') { return field.words[reading.code]; }
  value = valueOf(part, reading.code);
  if (reading.state === 'below') { warnings.push(part.name + ' lay below what can be said: ' + value + ' or less'); }
  if (reading.state === 'above') { warnings.push(part.name + ' lay above what can be said: ' + value + ' or more'); }
  return value;
}

function hexOf(bytes, field) {
  var hex = '', offset = field.offset + 1, end = field.offset + field.bits, ones = true, octet;
  for (; offset < end; offset += 8) {
    octet = codeAt(bytes, offset, 8);
    ones = ones && octet === 255;
    hex += (octet < 16 ? '0' : '') + octet.toString(16);
  }
  if (codeAt(bytes, field.offset, 1) === 0) { return hex; }
  return ones ? null : fail(field.name + ' is neither bytes nor absent');
}

function decodeField(field, bytes, data, warnings) {
  var parts = field.parts || [field], readings = [], index, part, offset, earlier;
  if (field.kind === 'bytes') {
    data[field.name] = hexOf(bytes, field);
    return;
  }
  for (index = 0; index < parts.length; index += 1) {
    part = parts[index];
    readings.push(readingOf(part.name, codeAt(bytes, part.offset, part.bits), part.bits, part.last, part.saturates));
  }
  if (readings.length === 2 && (readings[0].state === 'absent') !== (readings[1].state === 'absent')) {
    fail(field.name + ' has one coordinate of two');
  }
  for (index = 0; index < parts.length; index += 1) {
    data[parts[index].name] = shown(field, parts[index], readings[index], warnings);
  }
  if (field.earlier) {
    earlier = [];
    for (index = 0; index < field.earlier[0]; index += 1) {
      offset = field.offset + field.bits + index * field.earlier[1];
      part = codeAt(bytes, offset, field.earlier[1]);
      part = readingOf(field.name, part, field.earlier[1], allOnes(field.earlier[1]) - 3, true);
      earlier.push(shown(field, field, earlierOf(field, readings[0], part), warnings));
    }
    data[field.name + '_earlier'] = earlier;
  }
}

function decodeForm(form, bytes) {
  var data = {}, warnings = [], index;
  var spare = 8 * form.bytes - form.bits;
  if (bytes.length !== form.bytes) {
    fail(bytes.length + ' bytes where ' + form.message + ' has ' + form.bytes);
  }
  if (codeAt(bytes, form.bits, spare) !== 0) { fail('the bits after the last field are not zero'); }
  for (index = 0; index < form.fields.length; index += 1) {
    decodeField(form.fields[index], bytes, data, warnings);
  }
  return { data: data, warnings: warnings, errors: [] };
}

function isOctet(octet) {
  return typeof octet === 'number' && octet >= 0 && octet <= 255 && octet === Math.floor(octet);
}

/* The form by port and, where it travels in the bytes, by version. */
function formOf(direction, input) {
  var bytes = input.bytes || [], known = false, index, form;
  for (index = 0; index < bytes.length; index += 1) {
    if (!isOctet(bytes[index])) { fail('byte ' + index + ' is not a number from 0 to 255'); }
  }
  for (index = 0; index < FORMS.length; index += 1) {
    form = FORMS[index];
    if (form.direction === direction && form.port === input.fPort) {
      known = true;
      if (form.version === null) { return form; }
      if (bytes.length === 0) { fail('there are no bytes'); }
      if (codeAt(bytes, 0, form.version[0]) === form.version[1]) { return form; }
    }
  }
  return fail(known ? 'the version is not known here' : 'no message travels ' + direction + ' on port ' + input.fPort);
}

function answer(task) {
  try {
    return task();
  } catch (error) {
    if (!error || !error.reason) { throw error; }
    return { errors: [error.reason], warnings: [] };
  }
}

function decodeAny(direction, input) {
  return answer(function () { return decodeForm(formOf(direction, input), input.bytes || []); });
}

function decodeUplink(input) {
  return decodeAny('up', input);
}

function decodeDownlink(input) {
  return decodeAny('down', input);
}

/* Universal time to the second. */
function momentOf(milliseconds) {
  var text = new Date(Math.ceil(milliseconds / 1000) * 1000).toISOString().replace(/\.\d+Z$/, 'Z');
  return text.replace(/(T\d\d:\d\d):00Z$/, '$1Z');
}

/* When the next report is expected, for each interval that the bytes set; `heard` is null or the moment in milliseconds. */
function effectsOf(form, bytes, heard) {
  var effects = [];
  form.fields.forEach(function (field) {
    var reading, value, interval, next;
    if (!field.sets) { return; }
    reading = readingOf(field.name, codeAt(bytes, field.offset, field.bits), field.bits, field.last, field.saturates);
    if (reading.state !== 'inside') { return; }
    value = valueOf(field, reading.code);
    interval = value + ' ' + field.sets.unit;
    next = ', the next ' + field.sets.next + ' is expected ';
    effects.push(field.name + ' ' + interval + ': ' + (heard === null
      ? 'once this is received' + next + 'within ' + interval
      : 'heard at ' + momentOf(heard) + next + 'at ' + momentOf(heard + 1000 * field.sets.seconds * value) + ' at the latest') +
      (field.sets.only ? ', ' + field.sets.only : ''));
  });
  return effects;
}

function describeDownlink(input) {
  return answer(function () {
    var form = formOf('down', input), said = decodeForm(form, input.bytes || []);
    var heard = input.recvTime === null || input.recvTime === undefined ? null : new Date(input.recvTime).getTime();
    return { effects: effectsOf(form, input.bytes || [], heard), warnings: said.warnings, errors: [] };
  });
}

/* Half away from zero. */
function rounded(number) {
  var whole = Math.floor(Math.abs(number));
  if (Math.abs(number) - whole >= 0.5) { whole += 1; }
  return number < 0 ? -whole : whole;
}

/* floor((number * factor + addend) / divisor) in digits, for products that a double does not hold. */
function quotient(number, factor, addend, divisor, base) {
  var digits = [], result = 0, rest = 0;
  for (; number > 0; number = Math.floor(number / base)) { digits.unshift(number % base); }
  digits.forEach(function (digit) {
    var sum = rest * base + digit * factor;
    result = result * base + Math.floor(sum / divisor);
    rest = sum % divisor;
  });
  return result + Math.floor((rest + addend) / divisor);
}

/* The code of a number; what lies outside its range is refused, for nobody knows what a node makes of it. */
function codeOfNumber(field, part, value) {
  var to = part.to, parts, addend;
  if (typeof value !== 'number' || !isFinite(value)) { fail(part.name + ' is not a number'); }
  if (field.kind === 'counter') {
    parts = rounded(value * part.scale[2] / part.scale[0]);
    return parts >= 0 && parts <= part.last ? parts : fail(part.name + ' is outside what can be said');
  }
  parts = rounded(value * to.perUnit);
  if (parts < to.least || parts > to.most) { fail(part.name + ' is outside its range'); }
  addend = to.addend - (to.ties && parts < 0 ? 1 : 0);
  if (to.base) { return quotient(parts - to.least, to.factor, addend, to.divisor, to.base); }
  return Math.floor(((parts - to.least) * to.factor + addend) / to.divisor);
}

function codeOfSample(field, part, value) {
  var code;
  if (value === null || value === undefined) { return allOnes(part.bits); }
  if (field.kind === 'flag') {
    if (typeof value !== 'boolean') { fail(field.name + ' is not true or false'); }
    return value ? 1 : 0;
  }
  if (field.kind === 'choice') {
    code = field.words.indexOf(value);
    return code < 0 ? fail(field.name + ' is not one of ' + field.words.join(', ')) : code;
  }
  return codeOfNumber(field, part, value);
}

function differenceOf(field, newest, value) {
  var absent = allOnes(field.earlier[1]), most = absent - 3, ones = allOnes(field.bits);
  var code = codeOfSample(field, field, value);
  if (newest === ones || code === ones) { return absent; }
  if (field.kind === 'counter') {
    code = most - modulo(newest - code, field.last + 1);
  } else {
    code = code - newest + Math.floor(most / 2);
  }
  return code >= 0 && code <= most ? code : fail('an earlier ' + field.name + ' is too far from the newest');
}

function encodeOctets(field, hex, bytes) {
  var count = (field.bits - 1) / 8, index;
  var absent = hex === null || hex === undefined;
  if (!absent && (typeof hex !== 'string' || hex.length !== 2 * count || !/^[0-9a-fA-F]*$/.test(hex))) {
    fail(field.name + ' is not ' + 2 * count + ' hexadecimal digits');
  }
  putCode(bytes, field.offset, 1, absent ? 1 : 0);
  for (index = 0; index < count; index += 1) {
    putCode(bytes, field.offset + 1 + 8 * index, 8, absent ? 255 : parseInt(hex.substr(2 * index, 2), 16));
  }
}

function encodeField(field, data, bytes) {
  var parts = field.parts || [field], codes = [], index, part, earlier, nowhere;
  if (field.kind === 'bytes') {
    encodeOctets(field, data[field.name], bytes);
    return;
  }
  for (index = 0; index < parts.length; index += 1) {
    codes.push(codeOfSample(field, parts[index], data[parts[index].name]));
  }
  nowhere = parts.length === 2 && (codes[0] === allOnes(parts[0].bits) || codes[1] === allOnes(parts[1].bits));
  for (index = 0; index < parts.length; index += 1) {
    part = parts[index];
    putCode(bytes, part.offset, part.bits, nowhere ? allOnes(part.bits) : codes[index]);
  }
  if (field.earlier) {
    earlier = data[field.name + '_earlier'] || [];
    for (index = 0; index < field.earlier[0]; index += 1) {
      part = field.offset + field.bits + index * field.earlier[1];
      putCode(bytes, part, field.earlier[1], differenceOf(field, codes[0], earlier[index]));
    }
  }
}

function namesOf(form) {
  var names = { message: true };
  form.fields.forEach(function (field) {
    (field.parts || [field]).forEach(function (part) { names[part.name] = true; });
    if (field.earlier) { names[field.name + '_earlier'] = true; }
  });
  return names;
}

/* The message that `data.message` names, or the one that has all the names in `data`. */
function chosen(data) {
  var found = FORMS.filter(function (form) {
    var names = namesOf(form);
    var fits = Object.keys(data).every(function (name) { return names[name] === true; });
    var named = typeof data.message !== 'string' || data.message === form.message;
    return form.direction === 'down' && form.form === 'full' && fits && named;
  });
  if (found.length === 0) { fail('no message to the node has exactly these fields: ' + Object.keys(data).join(', ')); }
  if (found.length > 1) {
    fail('say which message with `message`: ' + found.map(function (form) { return form.message; }).join(', '));
  }
  return found[0];
}

function saysSomething(form, data) {
  return Object.keys(namesOf(form)).some(function (name) {
    return name !== 'message' && [].concat(data[name]).some(function (value) {
      return value !== null && value !== undefined;
    });
  });
}

function encodeDownlink(input) {
  return answer(function () {
    var data = input.data || {}, form = chosen(data), bytes = [], index;
    while (bytes.length < form.bytes) { bytes.push(0); }
    if (form.version !== null) { putCode(bytes, 0, form.version[0], form.version[1]); }
    for (index = 0; index < form.fields.length; index += 1) {
      encodeField(form.fields[index], data, bytes);
    }
    if (!saysSomething(form, data)) { fail('the message would change nothing: give at least one of its fields'); }
    return { bytes: bytes, fPort: form.port, warnings: effectsOf(form, bytes, null), errors: [] };
  });
}

if (typeof module !== 'undefined' && module.exports) {
  module.exports = {
    decodeUplink: decodeUplink,
    encodeDownlink: encodeDownlink,
    decodeDownlink: decodeDownlink,
    describeDownlink: describeDownlink
  };
}
