Console.WriteLine("no benchmark yet");
