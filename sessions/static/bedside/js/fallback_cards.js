/* Made by manage.py words out of sessions/texts/cards.py: not changed by hand. */

export const FALLBACK = {
 "en": {
  "cards": [
   {
    "kind": "needle_out",
    "group": "blood",
    "title": "Needle out, or blood on the sheet",
    "events": [
     "needle_dislodged"
    ],
    "now": [
     "Stop the blood pump.",
     "Clamp the lines and the needle that is still in.",
     "Press firmly with gauze where the needle was. Keep pressing.",
     "Lie down."
    ],
    "never": [
     "Do not connect again.",
     "Do not give the blood back."
    ],
    "call": [
     "Faint, more than a cupful of blood, or it will not stop: call the emergency number.",
     "Otherwise call the unit before you do anything else."
    ],
    "helper": [
     "Stop the blood pump, press firmly with gauze, and do not let go.",
     "Then clamp, and lay the person down."
    ],
    "say": "A dialysis needle came out and there is bleeding.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "",
    "see": [
     "bleeding",
     "faint"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "catheter_open",
    "group": "blood",
    "title": "Catheter line off, or cap off",
    "events": [
     "catheter_open"
    ],
    "now": [
     "Pinch the catheter closed with your fingers, close to the skin.",
     "Close its clamp.",
     "Stop the blood pump.",
     "Lie down on your left side, head and chest lower than your feet."
    ],
    "never": [
     "Do not connect again.",
     "Do not give the blood back.",
     "Do not sit up."
    ],
    "call": [
     "Call the emergency number, even if you feel well.",
     "Then call the unit."
    ],
    "helper": [
     "Pinch the catheter closed close to the skin, and hold it until its clamp is shut.",
     "Help the person onto the left side, head low."
    ],
    "say": "A catheter in a large vein came open. Blood was lost, and air may have got in.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "",
    "see": [
     "air"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "line_apart",
    "group": "blood",
    "title": "A line came apart",
    "events": [
     "line_apart"
    ],
    "now": [
     "Stop the blood pump.",
     "Clamp on both sides of the gap, first on your own side.",
     "Lie down."
    ],
    "never": [
     "Do not put the ends together again.",
     "Do not give the blood back."
    ],
    "call": [
     "Faint, short of breath, or more than a cupful of blood: call the emergency number.",
     "Otherwise call the unit before you do anything else."
    ],
    "helper": [
     "Stop the blood pump and clamp on both sides of the gap, first on the person's side."
    ],
    "say": "A blood line came apart and blood was lost.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "",
    "see": [
     "catheter_open",
     "air",
     "faint"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "air",
    "group": "blood",
    "title": "Air in the line",
    "events": [
     "air"
    ],
    "now": [
     "Clamp the venous line.",
     "Stop the blood pump.",
     "Lie down on your left side, head and chest lower than your feet.",
     "Stay so until help comes, also when you are short of breath."
    ],
    "never": [
     "Do not give this blood back.",
     "Do not sit up."
    ],
    "call": [
     "Call the emergency number, even if you feel well.",
     "Then call the unit."
    ],
    "helper": [
     "Clamp the venous line, then stop the blood pump.",
     "Help the person onto the left side, head low. Do not let the person sit up."
    ],
    "say": "Air may have got into the blood.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "",
    "see": [],
    "own": "",
    "checked": false
   },
   {
    "kind": "blood_colour",
    "group": "blood",
    "title": "Blood in the lines looks wrong",
    "events": [
     "blood_colour"
    ],
    "now": [
     "Stop the blood pump.",
     "Clamp both lines.",
     "Stay lying or sitting, and do not get up.",
     "Keep the lines, the dialyser and some of the water for the unit."
    ],
    "never": [
     "Do not give the blood back."
    ],
    "call": [
     "Call the emergency number, even if you feel well.",
     "Then call the unit."
    ],
    "helper": [
     "Stop the blood pump, clamp both lines, and call the emergency number."
    ],
    "say": "The blood may be breaking up during dialysis. Potassium may be high.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "Bright red like cherries, or dark like cola, with or without pain in chest, back or belly.",
    "see": [
     "chlorine",
     "chest_pain"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "bleeding",
    "group": "blood",
    "title": "Bleeding that will not stop",
    "events": [
     "bleeding"
    ],
    "now": [
     "Press on the place with gauze, firmly, for ten minutes. Do not lift the gauze to look.",
     "Spurting, or through the gauze: press hard with one finger on the very place, and lie down. An arm: hold it up.",
     "Still bleeding after ten minutes: press for ten more."
    ],
    "never": [
     "Do not tie anything around the arm.",
     "Do not heap towels on it: they hide the blood."
    ],
    "call": [
     "Spurting, faint, or more than a cupful of blood: call the emergency number at once.",
     "Still bleeding after twenty minutes: call the unit."
    ],
    "helper": [
     "Press hard on the very place with one finger and gauze, and do not let go."
    ],
    "say": "The dialysis access is bleeding and does not stop.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "",
    "see": [
     "faint"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "swelling",
    "group": "blood",
    "title": "Swelling at a needle",
    "events": [
     "infiltration"
    ],
    "now": [
     "Stop the blood pump.",
     "Clamp both lines.",
     "Do not use this needle any more. Take it out only as you were trained.",
     "Press as you were trained, keep the arm up, and cool it through a cloth."
    ],
    "never": [
     "Do not put in another needle before the unit has said so."
    ],
    "call": [
     "It grows fast, or the hand is cold, numb, white or very painful: call the emergency number.",
     "Otherwise call the unit."
    ],
    "helper": [
     "Stop the blood pump, clamp both lines, and look at the hand: cold, numb, white?"
    ],
    "say": "Blood is running into the arm beside the dialysis needle.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "bleeding"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "no_answer",
    "group": "body",
    "title": "The person does not answer",
    "events": [
     "no_answer"
    ],
    "now": [
     "Call the emergency number. Put the telephone on loudspeaker.",
     "Stop the blood pump. Clamp both lines.",
     "Blood: press on it.",
     "Not breathing normally: lay the person flat and start chest compressions. Whoever takes the call tells you how.",
     "Breathing: lay the person on the left side, and stay."
    ],
    "never": [
     "Do not leave the person alone.",
     "Do not give the blood back.",
     "Nothing to eat or drink."
    ],
    "call": [
     "Call the emergency number before anything else.",
     "Then call the unit."
    ],
    "helper": [
     "This card is for you: do its steps one after the other."
    ],
    "say": "Somebody connected to a dialysis machine does not answer.",
    "alone": "",
    "first": "emergency",
    "signs": "For whoever is there.",
    "see": [
     "needle_out",
     "catheter_open",
     "air"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "faint",
    "group": "body",
    "title": "Faint, or very low pressure",
    "events": [
     "fainted",
     "hypotension",
     "dizzy"
    ],
    "now": [
     "Look at your access, the lines and the sheet. Blood anywhere: stop the pump and clamp.",
     "Stop the fluid removal (UF).",
     "Lie flat, legs up.",
     "Saline only as you were trained and as it was ordered.",
     "Measure the pressure."
    ],
    "never": [
     "Do not stand up, even when you feel better."
    ],
    "call": [
     "Passed out, or not better within five minutes: call the emergency number.",
     "Better: call the unit before you go on."
    ],
    "helper": [
     "Lay the person flat, legs up, and look for blood."
    ],
    "say": "Blood pressure has fallen very low during dialysis.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "",
    "see": [
     "needle_out",
     "catheter_open",
     "no_answer"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "chest_pain",
    "group": "body",
    "title": "Chest pain, or short of breath",
    "events": [
     "chest_pain",
     "breathless"
    ],
    "now": [
     "Look at the lines. Air in them: open “Air in the line” instead, and do not sit up.",
     "Stop the blood pump. Clamp both lines.",
     "Call the emergency number now.",
     "No air in the lines, and short of breath: sit up in bed."
    ],
    "never": [
     "Do not stand up.",
     "Do not give the blood back unless the emergency service or the unit says so."
    ],
    "call": [
     "Call the emergency number now.",
     "Then call the unit."
    ],
    "helper": [
     "Stop the blood pump, clamp both lines, and call the emergency number."
    ],
    "say": "Chest pain or shortness of breath during dialysis.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "",
    "see": [
     "air",
     "blood_colour",
     "heart"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "heart",
    "group": "body",
    "title": "Heart racing or uneven, or sudden weakness",
    "events": [
     "heart_rhythm"
    ],
    "now": [
     "Stop the fluid removal (UF).",
     "Lie down and do not get up.",
     "Call the emergency number now. Say that it may be the potassium.",
     "Chest pain, or about to pass out: stop the blood pump and clamp both lines."
    ],
    "never": [
     "Do not drive yourself.",
     "Do not wait for the next treatment."
    ],
    "call": [
     "Call the emergency number now.",
     "Then call the unit: it says how the treatment is ended."
    ],
    "helper": [
     "Call the emergency number, and stay with the person."
    ],
    "say": "The heart is racing, very slow or uneven. Potassium may be too high or too low.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "Racing, very slow or stumbling heart, or legs and arms suddenly weak; also between treatments.",
    "see": [
     "chest_pain",
     "no_answer"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "allergy",
    "group": "body",
    "title": "Allergic reaction",
    "events": [
     "allergic_reaction"
    ],
    "now": [
     "Stop the blood pump. Clamp both lines.",
     "Call the emergency number now.",
     "Use the medicine against allergy that was ordered for you, if there is one.",
     "Faint: lie flat, legs up. Short of breath and no air in the lines: sit up."
    ],
    "never": [
     "Do not give the blood back."
    ],
    "call": [
     "Call the emergency number now.",
     "Then call the unit."
    ],
    "helper": [
     "Stop the blood pump, clamp both lines, and call the emergency number."
    ],
    "say": "Severe allergic reaction during dialysis.",
    "alone": "Alone: put the telephone on loudspeaker, say how the door opens, and stay on the line.",
    "first": "emergency",
    "signs": "Itching, hives, swollen face or tongue, wheezing, most often in the first half hour.",
    "see": [
     "air",
     "faint",
     "no_answer"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "fever",
    "group": "body",
    "title": "Fever or shivering",
    "events": [
     "fever_chills"
    ],
    "now": [
     "Stop the fluid removal (UF).",
     "Take the temperature.",
     "Look at the access: redness, pus, pain.",
     "Call the unit at once, at night too."
    ],
    "never": [
     "Do not wait for the morning.",
     "Shivering began soon after connecting: do not give the blood back unless the unit says so."
    ],
    "call": [
     "Shivering hard, confused, faint or very ill: call the emergency number.",
     "Otherwise call the unit at once, at night too."
    ],
    "helper": [
     "Confused, or hard to wake: call the emergency number."
    ],
    "say": "Fever and shivering during dialysis: it may be blood poisoning.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "faint",
     "no_answer"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "chlorine",
    "group": "machine",
    "title": "Chlorine over the limit while connected",
    "events": [
     "chlorine_connected"
    ],
    "now": [
     "Stop the blood pump.",
     "Clamp both lines.",
     "Look at the blood in the lines. Like cherries or cola: open “Blood in the lines looks wrong”.",
     "Call the unit at once. Keep some of the water, and the value you measured."
    ],
    "never": [
     "Do not give the blood back unless the unit says so.",
     "Do not go on with this water."
    ],
    "call": [
     "Headache, pain in chest, back or belly, or short of breath: call the emergency number.",
     "Otherwise call the unit at once."
    ],
    "helper": [
     "Stop the blood pump, clamp both lines, and call the unit."
    ],
    "say": "Chlorine got into the dialysis water; the blood may be breaking up.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "blood_colour",
     "chest_pain"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "machine_alarm",
    "group": "machine",
    "title": "Machine alarm will not clear",
    "events": [
     "machine_alarm"
    ],
    "now": [
     "Look at your access, the lines and the sheet. Blood anywhere: stop the pump and clamp.",
     "Read what the machine says, and put right what you were trained to.",
     "The alarm comes back: stop the blood pump, clamp both lines, call the unit."
    ],
    "never": [
     "Never silence the same alarm again and again."
    ],
    "call": [
     "Faint, chest pain, short of breath, or much blood: call the emergency number.",
     "Otherwise call the unit."
    ],
    "helper": [
     "Look for blood at the access and along the lines before anything else."
    ],
    "say": "The dialysis machine gives an alarm that does not clear.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "needle_out",
     "catheter_open",
     "line_apart",
     "air"
    ],
    "own": "",
    "checked": false
   },
   {
    "kind": "power_water",
    "group": "machine",
    "title": "Power or water failure",
    "events": [
     "power_failure",
     "water_failure"
    ],
    "now": [
     "Take the torch. Look at your access and the lines.",
     "Power out: give the blood back by hand only if you were trained to. Otherwise clamp both lines.",
     "Water out: stop the fluid removal (UF), and end the treatment as you were trained.",
     "Call the unit: how to go on, and when to treat again."
    ],
    "never": [
     "Do not walk about in the dark while you are connected."
    ],
    "call": [
     "Bleeding, faint, chest pain or short of breath: call the emergency number.",
     "Otherwise call the unit."
    ],
    "helper": [
     "Hold the torch on the access and the lines."
    ],
    "say": "Power or water failed during dialysis.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "needle_out",
     "catheter_open",
     "air"
    ],
    "own": "",
    "checked": false
   }
  ],
  "on_each_card": {
   "training": "Your training comes first.",
   "say_first": "This is about home haemodialysis.",
   "say_address": "The address is:",
   "say_door": "The door:",
   "groups": {
    "blood": "Blood, access and lines",
    "body": "How you feel",
    "machine": "Water, power and machine"
   },
   "headings": {
    "never": "Never",
    "call": "Whom to call",
    "helper": "If somebody is with you",
    "say": "What to say on the telephone",
    "see": "Open instead, or next"
   },
   "unchecked": "Your unit has not checked this text."
  }
 },
 "es": {
  "cards": [
   {
    "kind": "needle_out",
    "group": "blood",
    "title": "Aguja salida, o sangre en la sábana",
    "events": [
     "needle_dislodged"
    ],
    "now": [
     "Pare la bomba de sangre.",
     "Pince las líneas y la aguja que sigue puesta.",
     "Presione con fuerza con una gasa donde estaba la aguja. Siga presionando.",
     "Acuéstese."
    ],
    "never": [
     "No vuelva a conectarse.",
     "No devuelva la sangre."
    ],
    "call": [
     "Desmayo, más de una taza de sangre, o no deja de sangrar: llame al número de emergencias.",
     "Si no es así, llame a la unidad antes de hacer nada más."
    ],
    "helper": [
     "Pare la bomba de sangre, presione con fuerza con una gasa y no suelte.",
     "Después pince, y acueste a la persona."
    ],
    "say": "Se salió una aguja de diálisis y hay sangrado.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "",
    "see": [
     "bleeding",
     "faint"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "catheter_open",
    "group": "blood",
    "title": "Catéter abierto: línea o tapón suelto",
    "events": [
     "catheter_open"
    ],
    "now": [
     "Apriete el catéter con los dedos, cerca de la piel, hasta cerrarlo.",
     "Cierre su pinza.",
     "Pare la bomba de sangre.",
     "Túmbese sobre el lado izquierdo, con la cabeza y el pecho más bajos que los pies."
    ],
    "never": [
     "No vuelva a conectarse.",
     "No devuelva la sangre.",
     "No se incorpore."
    ],
    "call": [
     "Llame al número de emergencias, aunque se encuentre bien.",
     "Después llame a la unidad."
    ],
    "helper": [
     "Apriete el catéter cerca de la piel y manténgalo así hasta cerrar su pinza.",
     "Ayude a la persona a ponerse sobre el lado izquierdo, con la cabeza baja."
    ],
    "say": "Se abrió un catéter que está en una vena grande. Se perdió sangre y puede haber entrado aire.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "",
    "see": [
     "air"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "line_apart",
    "group": "blood",
    "title": "Se separó una línea",
    "events": [
     "line_apart"
    ],
    "now": [
     "Pare la bomba de sangre.",
     "Pince a ambos lados de la separación, primero del lado de su cuerpo.",
     "Acuéstese."
    ],
    "never": [
     "No vuelva a unir los extremos.",
     "No devuelva la sangre."
    ],
    "call": [
     "Desmayo, falta de aire o más de una taza de sangre: llame al número de emergencias.",
     "Si no es así, llame a la unidad antes de hacer nada más."
    ],
    "helper": [
     "Pare la bomba de sangre y pince a ambos lados de la separación, primero del lado de la persona."
    ],
    "say": "Se separó una línea de sangre y se perdió sangre.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "",
    "see": [
     "catheter_open",
     "air",
     "faint"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "air",
    "group": "blood",
    "title": "Aire en la línea",
    "events": [
     "air"
    ],
    "now": [
     "Pince la línea venosa.",
     "Pare la bomba de sangre.",
     "Túmbese sobre el lado izquierdo, con la cabeza y el pecho más bajos que los pies.",
     "Quédese así hasta que llegue la ayuda, aunque le falte el aire."
    ],
    "never": [
     "No devuelva esta sangre.",
     "No se incorpore."
    ],
    "call": [
     "Llame al número de emergencias, aunque se encuentre bien.",
     "Después llame a la unidad."
    ],
    "helper": [
     "Pince la línea venosa y después pare la bomba de sangre.",
     "Ayude a la persona a ponerse sobre el lado izquierdo, con la cabeza baja. No deje que se incorpore."
    ],
    "say": "Puede haber entrado aire en la sangre.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "",
    "see": [],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "blood_colour",
    "group": "blood",
    "title": "La sangre de las líneas tiene mal aspecto",
    "events": [
     "blood_colour"
    ],
    "now": [
     "Pare la bomba de sangre.",
     "Pince las dos líneas.",
     "Siga en la cama o en el sillón y no se levante.",
     "Guarde para la unidad las líneas, el dializador y un poco del agua."
    ],
    "never": [
     "No devuelva la sangre."
    ],
    "call": [
     "Llame al número de emergencias, aunque se encuentre bien.",
     "Después llame a la unidad."
    ],
    "helper": [
     "Pare la bomba de sangre, pince las dos líneas y llame al número de emergencias."
    ],
    "say": "La sangre puede estar destruyéndose durante la diálisis. El potasio puede estar alto.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "Rojo vivo como cerezas, u oscura como un refresco de cola, con o sin dolor en el pecho, la espalda o el vientre.",
    "see": [
     "chlorine",
     "chest_pain"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "bleeding",
    "group": "blood",
    "title": "Sangrado que no cede",
    "events": [
     "bleeding"
    ],
    "now": [
     "Presione con fuerza con una gasa durante diez minutos. No levante la gasa para mirar.",
     "Si sale a chorro o atraviesa la gasa: presione fuerte con un dedo justo en ese punto y acuéstese. Si es el brazo: manténgalo en alto.",
     "Si a los diez minutos sigue sangrando: presione otros diez."
    ],
    "never": [
     "No ate nada alrededor del brazo.",
     "No ponga toallas encima: esconden la sangre."
    ],
    "call": [
     "Sale a chorro, desmayo o más de una taza de sangre: llame de inmediato al número de emergencias.",
     "Si a los veinte minutos sigue sangrando: llame a la unidad."
    ],
    "helper": [
     "Presione fuerte justo en ese punto con un dedo y una gasa, y no suelte."
    ],
    "say": "El acceso de diálisis sangra y no para.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "",
    "see": [
     "faint"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "swelling",
    "group": "blood",
    "title": "Hinchazón junto a una aguja",
    "events": [
     "infiltration"
    ],
    "now": [
     "Pare la bomba de sangre.",
     "Pince las dos líneas.",
     "No use más esta aguja. Retírela solo como le enseñaron.",
     "Presione como le enseñaron, mantenga el brazo en alto y enfríelo a través de un paño."
    ],
    "never": [
     "No ponga otra aguja antes de que la unidad lo indique."
    ],
    "call": [
     "Crece deprisa, o la mano está fría, dormida, pálida o duele mucho: llame al número de emergencias.",
     "Si no es así, llame a la unidad."
    ],
    "helper": [
     "Pare la bomba de sangre, pince las dos líneas y mire la mano: ¿fría, dormida, pálida?"
    ],
    "say": "Está entrando sangre en el brazo junto a la aguja de diálisis.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "bleeding"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "no_answer",
    "group": "body",
    "title": "La persona no responde",
    "events": [
     "no_answer"
    ],
    "now": [
     "Llame al número de emergencias. Ponga el altavoz del teléfono.",
     "Pare la bomba de sangre. Pince las dos líneas.",
     "Si hay sangre: presione encima.",
     "Si no respira con normalidad: acueste a la persona boca arriba y empiece las compresiones en el pecho. Quien atienda la llamada le dirá cómo.",
     "Si respira: ponga a la persona sobre el lado izquierdo y quédese a su lado."
    ],
    "never": [
     "No deje a la persona sola.",
     "No devuelva la sangre.",
     "Nada de comer ni de beber."
    ],
    "call": [
     "Llame al número de emergencias antes que nada.",
     "Después llame a la unidad."
    ],
    "helper": [
     "Esta tarjeta es para usted: siga sus pasos uno tras otro."
    ],
    "say": "Una persona conectada a una máquina de diálisis no responde.",
    "alone": "",
    "first": "emergency",
    "signs": "Para quien esté presente.",
    "see": [
     "needle_out",
     "catheter_open",
     "air"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "faint",
    "group": "body",
    "title": "Desmayo o presión muy baja",
    "events": [
     "fainted",
     "hypotension",
     "dizzy"
    ],
    "now": [
     "Mire el acceso, las líneas y la sábana. Si hay sangre: pare la bomba y pince.",
     "Pare la extracción de líquido (UF).",
     "Acuéstese en horizontal, con las piernas en alto.",
     "Suero salino solo como le enseñaron y como se le prescribió.",
     "Mida la presión."
    ],
    "never": [
     "No se levante, aunque se sienta mejor."
    ],
    "call": [
     "Pérdida de conocimiento, o sin mejoría en cinco minutos: llame al número de emergencias.",
     "Si mejora: llame a la unidad antes de seguir."
    ],
    "helper": [
     "Acueste a la persona en horizontal, con las piernas en alto, y busque si hay sangre."
    ],
    "say": "La presión arterial ha bajado mucho durante la diálisis.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "",
    "see": [
     "needle_out",
     "catheter_open",
     "no_answer"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "chest_pain",
    "group": "body",
    "title": "Dolor en el pecho o falta de aire",
    "events": [
     "chest_pain",
     "breathless"
    ],
    "now": [
     "Mire las líneas. Si tienen aire: abra en su lugar «Aire en la línea», y no se incorpore.",
     "Pare la bomba de sangre. Pince las dos líneas.",
     "Llame ahora al número de emergencias.",
     "Si no hay aire en las líneas y le falta el aire: incorpórese en la cama."
    ],
    "never": [
     "No se levante.",
     "No devuelva la sangre salvo que lo indiquen el servicio de emergencias o la unidad."
    ],
    "call": [
     "Llame ahora al número de emergencias.",
     "Después llame a la unidad."
    ],
    "helper": [
     "Pare la bomba de sangre, pince las dos líneas y llame al número de emergencias."
    ],
    "say": "Dolor en el pecho o falta de aire durante la diálisis.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "",
    "see": [
     "air",
     "blood_colour",
     "heart"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "heart",
    "group": "body",
    "title": "Corazón acelerado o irregular, o debilidad repentina",
    "events": [
     "heart_rhythm"
    ],
    "now": [
     "Pare la extracción de líquido (UF).",
     "Acuéstese y no se levante.",
     "Llame ahora al número de emergencias. Diga que puede ser el potasio.",
     "Dolor en el pecho o a punto de desmayarse: pare la bomba de sangre y pince las dos líneas."
    ],
    "never": [
     "No conduzca.",
     "No espere al próximo tratamiento."
    ],
    "call": [
     "Llame ahora al número de emergencias.",
     "Después llame a la unidad: le dirá cómo terminar el tratamiento."
    ],
    "helper": [
     "Llame al número de emergencias y quédese con la persona."
    ],
    "say": "El corazón va muy rápido, muy lento o irregular. El potasio puede estar demasiado alto o demasiado bajo.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "Corazón acelerado, muy lento o a saltos, o debilidad repentina de piernas y brazos; también entre tratamientos.",
    "see": [
     "chest_pain",
     "no_answer"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "allergy",
    "group": "body",
    "title": "Reacción alérgica",
    "events": [
     "allergic_reaction"
    ],
    "now": [
     "Pare la bomba de sangre. Pince las dos líneas.",
     "Llame ahora al número de emergencias.",
     "Use el medicamento para la alergia que se le haya prescrito, si lo tiene.",
     "Si hay desmayo: en horizontal, con las piernas en alto. Si falta el aire y no hay aire en las líneas: incorpórese."
    ],
    "never": [
     "No devuelva la sangre."
    ],
    "call": [
     "Llame ahora al número de emergencias.",
     "Después llame a la unidad."
    ],
    "helper": [
     "Pare la bomba de sangre, pince las dos líneas y llame al número de emergencias."
    ],
    "say": "Reacción alérgica grave durante la diálisis.",
    "alone": "A solas: ponga el altavoz del teléfono, diga cómo se abre la puerta y no cuelgue.",
    "first": "emergency",
    "signs": "Picor, ronchas, hinchazón de la cara o la lengua, pitidos al respirar; sobre todo en la primera media hora.",
    "see": [
     "air",
     "faint",
     "no_answer"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "fever",
    "group": "body",
    "title": "Fiebre o escalofríos",
    "events": [
     "fever_chills"
    ],
    "now": [
     "Pare la extracción de líquido (UF).",
     "Tómese la temperatura.",
     "Mire el acceso: enrojecimiento, pus, dolor.",
     "Llame a la unidad de inmediato, también de noche."
    ],
    "never": [
     "No espere a la mañana.",
     "Si los escalofríos empezaron poco después de conectarse: no devuelva la sangre salvo que la unidad lo indique."
    ],
    "call": [
     "Escalofríos fuertes, confusión, desmayo o mucho malestar: llame al número de emergencias.",
     "Si no es así, llame a la unidad de inmediato, también de noche."
    ],
    "helper": [
     "Confusión o cuesta despertarla: llame al número de emergencias."
    ],
    "say": "Fiebre y escalofríos durante la diálisis: puede ser una infección de la sangre.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "faint",
     "no_answer"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "chlorine",
    "group": "machine",
    "title": "Cloro por encima del límite durante la conexión",
    "events": [
     "chlorine_connected"
    ],
    "now": [
     "Pare la bomba de sangre.",
     "Pince las dos líneas.",
     "Mire la sangre de las líneas. Si parece cerezas o refresco de cola: abra «La sangre de las líneas tiene mal aspecto».",
     "Llame a la unidad de inmediato. Guarde un poco del agua y el valor que midió."
    ],
    "never": [
     "No devuelva la sangre salvo que la unidad lo indique.",
     "No siga con esta agua."
    ],
    "call": [
     "Dolor de cabeza, de pecho, de espalda o de vientre, o falta de aire: llame al número de emergencias.",
     "Si no es así, llame a la unidad de inmediato."
    ],
    "helper": [
     "Pare la bomba de sangre, pince las dos líneas y llame a la unidad."
    ],
    "say": "Entró cloro en el agua de diálisis; la sangre puede estar destruyéndose.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "blood_colour",
     "chest_pain"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "machine_alarm",
    "group": "machine",
    "title": "Alarma de la máquina que no se quita",
    "events": [
     "machine_alarm"
    ],
    "now": [
     "Mire el acceso, las líneas y la sábana. Si hay sangre: pare la bomba y pince.",
     "Lea lo que dice la máquina y corrija lo que le enseñaron a corregir.",
     "Si la alarma vuelve: pare la bomba de sangre, pince las dos líneas y llame a la unidad."
    ],
    "never": [
     "Nunca silencie la misma alarma una y otra vez."
    ],
    "call": [
     "Desmayo, dolor en el pecho, falta de aire o mucha sangre: llame al número de emergencias.",
     "Si no es así, llame a la unidad."
    ],
    "helper": [
     "Antes que nada, busque si hay sangre en el acceso y a lo largo de las líneas."
    ],
    "say": "La máquina de diálisis da una alarma que no se quita.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "needle_out",
     "catheter_open",
     "line_apart",
     "air"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   },
   {
    "kind": "power_water",
    "group": "machine",
    "title": "Corte de luz o de agua",
    "events": [
     "power_failure",
     "water_failure"
    ],
    "now": [
     "Tome la linterna. Mire el acceso y las líneas.",
     "Sin corriente: devuelva la sangre a mano solo si se lo enseñaron. Si no, pince las dos líneas.",
     "Sin agua: pare la extracción de líquido (UF) y termine el tratamiento como le enseñaron.",
     "Llame a la unidad: cómo seguir y cuándo hacer el próximo tratamiento."
    ],
    "never": [
     "No ande a oscuras mientras siga conectada la máquina."
    ],
    "call": [
     "Sangrado, desmayo, dolor en el pecho o falta de aire: llame al número de emergencias.",
     "Si no es así, llame a la unidad."
    ],
    "helper": [
     "Alumbre con la linterna el acceso y las líneas."
    ],
    "say": "Falló la corriente o el agua durante la diálisis.",
    "alone": "",
    "first": "on_call",
    "signs": "",
    "see": [
     "needle_out",
     "catheter_open",
     "air"
    ],
    "own": "Lo escribió su unidad (Inglés).",
    "checked": false
   }
  ],
  "on_each_card": {
   "training": "Lo que le enseñaron va primero.",
   "say_first": "Se trata de hemodiálisis en el domicilio.",
   "say_address": "La dirección es:",
   "say_door": "La puerta:",
   "groups": {
    "blood": "Sangre, acceso y líneas",
    "body": "Cómo se siente",
    "machine": "Agua, corriente y máquina"
   },
   "headings": {
    "never": "Nunca",
    "call": "A quién llamar",
    "helper": "Si hay alguien con usted",
    "say": "Qué decir por teléfono",
    "see": "Abrir en su lugar, o después"
   },
   "unchecked": "Su unidad no ha revisado este texto."
  }
 }
};
